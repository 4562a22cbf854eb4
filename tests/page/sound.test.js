"use strict";

const assert = require("node:assert/strict");
const { test } = require("node:test");
const { script } = require("./load.js");

const { Track, toneAt, ceilingCurve, breathAt, breathOfHand, pairsOf, chordOf, signed, printed, KEYS } = script([
  "Track",
  "toneAt",
  "ceilingCurve",
  "breathAt",
  "breathOfHand",
  "pairsOf",
  "chordOf",
  "signed",
  "printed",
  "KEYS",
]);

const breaths = [
  { g: 1.25, tone: 0.4, noise: 0.35, overtones_db: -11, cents: -30 },
  { g: 2.5, tone: 1, noise: 1, overtones_db: 0, cents: 0 },
  { g: 4.5, tone: 2, noise: 2.4, overtones_db: 3, cents: 25 },
];

test("the usual breath is the recording itself", () => {
  const usual = breathAt(breaths, 2.5);
  assert.deepEqual({ ...usual }, breaths[1]);
  assert.equal(breathAt(breaths, 99).tone, 2);
  assert.ok(Math.abs(breathAt(breaths, 3.5).tone - 1.5) < 1e-12);
});

test("a hand goes from the softest breath by the usual one to the hardest, and never back", () => {
  assert.deepEqual(
    [0, 0.5, 1].map((hand) => breathOfHand(breaths, hand)),
    [1.25, 2.5, 4.5],
  );
  let last = 0;
  for (let hand = 0; hand <= 1; hand += 0.05) {
    const g = breathOfHand(breaths, hand);
    assert.ok(g > last);
    last = g;
  }
});

test("a looping recording is where it is, after any number of rounds and at any speed", () => {
  const clip = { rate_hz: 1000, looped: [500, 2000], gain: 1, flac: "" };
  const track = new Track(clip, 10, 1);
  const near = (at, place) =>
    assert.ok(Math.abs(track.look(at).place_s - place) < 1e-9, `${track.look(at).place_s} at ${at}`);
  near(10.4, 0.4);
  near(11.99, 1.99);
  near(12.0, 0.5);
  near(12.0 + 7 * 1.5 + 0.25, 0.75);
  // From 1 to 1.5 with a time constant of 20 ms: what is gone is the integral, here added up in small steps.
  track.change(1.5, 10.1);
  let place = 0.1;
  for (let s = 0; s < 0.2; s += 1e-5) place += 1e-5 * (1.5 - 0.5 * Math.exp(-(s + 5e-6) / 0.02));
  assert.ok(Math.abs(track.look(10.3).place_s - place) < 1e-5);
});

test("loudness and phase of a tone are found between its samples, beside its overtones", () => {
  const [rate, hz] = [48000, 98];
  const samples = Float32Array.from({ length: 24000 }, (_, i) => {
    const turn = (2 * Math.PI * hz * i) / rate;
    return 0.2 * Math.cos(turn + 1) + 0.02 * Math.cos(2 * turn) + 0.01 * Math.cos(3 * turn + 2);
  });
  const buffer = { sampleRate: rate, getChannelData: () => samples };
  for (const at of [0.1, 0.1234567, 0.25]) {
    const { level, angle } = toneAt(buffer, at, hz);
    const want = (2 * Math.PI * hz * at + 1) % (2 * Math.PI);
    const off = Math.atan2(Math.sin(angle - want), Math.cos(angle - want));
    assert.ok(Math.abs(level - 0.2) < 0.001, `level ${level}`);
    assert.ok(Math.abs(off) < 0.01, `off by ${off} rad`);
  }
});

test("under the knee nothing is bent, and nothing passes the ceiling", () => {
  const curve = ceilingCurve();
  const at = (x) => curve[Math.round(((x + 1) / 2) * (curve.length - 1))];
  for (const x of [-0.5, 0, 0.25, 0.6]) assert.ok(Math.abs(at(x) - x) < 1e-3);
  assert.ok(Math.max(...curve) < 0.89 && Math.min(...curve) > -0.89);
});

test("of what sounds every pair is found in its place", () => {
  const bottles = ["C4", "E4", "G4", "C5"].map((note, i) => ({ note, key: [60, 64, 67, 72][i] }));
  const pairs = [];
  for (let low = 0; low < 4; low += 1)
    for (let high = low + 1; high < 4; high += 1) pairs.push([low, high, 100 * low + high, 0, "1:1", null]);
  const intervals = ["unison", , , , "third", "fourth", , "fifth", , , , , "octave"];
  const data = { bottles, pairs, intervals, chords: [{ name: "C major", bottles: [0, 1, 2] }] };
  const words = pairsOf(data, [0, 2, 3]);
  assert.deepEqual(
    [...words.map((w) => [w.notes, w.name, w.cents].join())],
    ["C4 G4,fifth,2", "C4 C5,octave,3", "G4 C5,fourth,203"],
  );
  assert.equal(chordOf(data, [0, 1, 2]), "C major");
  assert.equal(chordOf(data, [0, 1]), null);
});

test("a number has its sign, and nothing has none", () => {
  assert.deepEqual([1.25, -2, 0.04, -0.04].map(signed), ["+1.3", "−2.0", "0.0", "0.0"]);
});

test("every key plays one bottle, and is called what is printed on it", () => {
  assert.equal(new Set(KEYS).size, 45);
  assert.equal(printed("KeyZ", null), "Z");
  assert.equal(printed("KeyZ", new Map([["KeyZ", "y"]])), "Y");
  assert.equal(printed("Semicolon", null), ";");
  assert.equal(printed("Digit4", null), "4");
});
