"use strict";

const assert = require("node:assert/strict");
const { test } = require("node:test");
const { fourBars, script, usual, written } = require("./load.js");

const { Run, Player, judge, barAt, lanesOf, lastBeat } = script([
  "Run",
  "Player",
  "judge",
  "barAt",
  "lanesOf",
  "lastBeat",
]);

/** Runs a player to a moment, looking every 50 ms as the page does. */
function runTo(player, instrument, until, ahead = 0.3) {
  while (instrument.context.currentTime < until) {
    player.pump(instrument.context.currentTime + ahead);
    instrument.context.currentTime += 0.05;
  }
}

test("a note is due as far from the first bar of the run as it is written", () => {
  const run = new Run(fourBars(), { ...usual, from: 2, to: 3 });
  assert.equal(run.length_s, 8);
  const begins = run.due.filter((due) => due.kind === "on").map((due) => due.at);
  assert.deepEqual([...begins], [0, 1, 2, 3, 4, 5, 6, 7]);
});

test("what ends at the moment at which another begins ends first", () => {
  const piece = fourBars();
  piece.notes = [
    [0, 0, 1, 2.5],
    [0, 1, 2, 2.5],
  ];
  const kinds = new Run(piece, usual).due.filter((due) => due.at === 1 && due.kind !== "beat").map((due) => due.kind);
  assert.deepEqual([...kinds], ["off", "on"]);
});

test("a bar is found by its time, and a note on its line belongs to it", () => {
  const piece = fourBars();
  assert.deepEqual(
    [0, 3.999, 4, 15.9, 99].map((at) => barAt(piece, at)),
    [1, 1, 2, 4, 4],
  );
});

test("bars that are not there are the nearest that are", () => {
  const run = new Run(fourBars(), { ...usual, from: 9, to: 2 });
  assert.deepEqual([...run.bars], [4, 4]);
});

test("a loop comes back to its first bar, round after round", () => {
  const run = new Run(fourBars(), { ...usual, from: 2, to: 3, loop: true });
  const place = (gone) => {
    const { round, at, over } = run.place(gone);
    return [round, at, over];
  };
  assert.deepEqual(place(-1), [0, -1, false]);
  assert.deepEqual(place(7.5), [0, 7.5, false]);
  assert.deepEqual(place(8), [1, 0, false]);
  assert.deepEqual(place(21), [2, 5, false]);
  assert.equal(new Run(fourBars(), usual).place(16).over, true);
});

test("two bars are counted in before the first note, with their first beats", () => {
  const run = new Run(fourBars(), { ...usual, countIn: 2 });
  assert.deepEqual([...run.counted.map((due) => due.at)], [-8, -7, -6, -5, -4, -3, -2, -1]);
  assert.deepEqual([...run.counted.filter((due) => due.first).map((due) => due.at)], [-8, -4]);
});

test("every note is sent at its own moment, at any tempo, and never late", () => {
  for (const tempo of [0.25, 1, 1.5]) {
    const instrument = written();
    const player = new Player(instrument, fourBars(), { ...usual, tempo });
    runTo(player, instrument, 16 / tempo + 1);
    const begins = instrument.log.map((note) => note.at);
    assert.equal(begins.length, 16);
    begins.forEach((at, beat) => assert.ok(Math.abs(at - (0.12 + beat / tempo)) < 1e-9, `${at} at ${tempo}`));
    instrument.log.forEach((note, beat) => assert.ok(Math.abs(note.until - (0.12 + (beat + 0.5) / tempo)) < 1e-9));
    assert.equal(player.over, true);
  }
});

test("bottles that are left to who practises are not sounded", () => {
  const instrument = written();
  const player = new Player(instrument, fourBars(), { ...usual, mine: new Set([0]) });
  runTo(player, instrument, 17);
  assert.equal(instrument.log.length, 10);
  assert.ok(instrument.log.every((note) => note.place !== 0));
});

test("another tempo on the way takes back what has not begun, and loses and doubles no note", () => {
  const instrument = written();
  const player = new Player(instrument, fourBars(), usual);
  runTo(player, instrument, 2.95);
  player.change({ tempo: 0.5 });
  runTo(player, instrument, 60);
  const sounded = instrument.log.filter((note) => !note.hushed);
  assert.equal(sounded.length, 16);
  // Up to the change a beat lasts a second, then two.
  const changed = 2.95;
  sounded.forEach((note, beat) => {
    const straight = 0.12 + beat;
    const want = straight <= changed ? straight : changed + 2 * (straight - changed);
    assert.ok(Math.abs(note.at - want) < 0.06, `beat ${beat} at ${note.at}, wanted ${want}`);
  });
});

test("it waits for its own notes, and goes on when they come", () => {
  const instrument = written();
  const player = new Player(instrument, fourBars(), { ...usual, mine: new Set([0]), wait: true });
  runTo(player, instrument, 5);
  // The first note is one's own: nothing has sounded.
  assert.equal(instrument.log.length, 0);
  assert.equal(player.isWaiting(), true);
  assert.deepEqual([...player.waitsFor()], [0]);
  player.press(1);
  assert.equal(player.isWaiting(), true);
  const pressed = instrument.context.currentTime;
  player.press(0);
  runTo(player, instrument, pressed + 6);
  // Beats 1 and 2 are the page's, beat 3 is one's own again.
  assert.deepEqual([...instrument.log.map((note) => Math.round(note.at - pressed))], [1, 2]);
  assert.equal(player.isWaiting(), true);
});

test("a note that is held where it waits goes on sounding", () => {
  const piece = fourBars();
  piece.notes = [
    [1, 0, 3, 2.5],
    [0, 2, 2.5, 2.5],
  ];
  const instrument = written();
  const player = new Player(instrument, piece, { ...usual, mine: new Set([0]), wait: true });
  runTo(player, instrument, 10);
  assert.equal(instrument.log[0].until, Infinity);
  player.press(0);
  const pressed = instrument.context.currentTime;
  runTo(player, instrument, pressed + 3);
  assert.ok(Math.abs(instrument.log[0].until - pressed - 1) < 1e-9);
});

test("early, late, missed and wrong are told apart", () => {
  const note = (at, place) => ({ at, place });
  const tally = judge(
    [note(0, 0), note(1, 1), note(2, 2), note(3, 0)],
    [note(0.02, 0), note(0.9, 1), note(2.2, 2), note(3, 1)],
  );
  assert.deepEqual({ ...tally }, { written: 4, fine: 1, early: 1, late: 1, missed: 1, wrong: 1 });
});

test("a note belongs to the nearest of its bottle and to one only", () => {
  const note = (at) => ({ at, place: 0 });
  assert.deepEqual(
    { ...judge([note(0), note(0.4)], [note(0.38)]) },
    { written: 2, fine: 1, early: 0, late: 0, missed: 1, wrong: 0 },
  );
  assert.equal(judge([note(0)], [note(0), note(0.01), note(0.02)]).wrong, 2);
});

test("a pass is judged when it is over", () => {
  const instrument = written();
  const player = new Player(instrument, fourBars(), { ...usual, mine: new Set([0]) });
  const press = [0, 3, 6];
  while (!player.over) {
    player.pump(instrument.context.currentTime + 0.3);
    if (press.length > 0 && instrument.context.currentTime >= 0.12 + press[0]) {
      player.press(0);
      press.shift();
    }
    instrument.context.currentTime += 0.01;
  }
  assert.deepEqual({ ...player.tally }, { written: 6, fine: 3, early: 0, late: 0, missed: 3, wrong: 0 });
});

test("lanes stand from low to high, one's own wider, and fill the width", () => {
  const lanes = lanesOf(fourBars(), new Set([1]));
  assert.deepEqual([...lanes.map(({ place, own }) => [place, own].join())], ["0,false", "1,true", "2,false"]);
  assert.ok(Math.abs(lanes[1].to - lanes[1].from - 0.6) < 1e-9);
  assert.ok(Math.abs(lanes[2].to - 1) < 1e-9);
});

test("who wants nothing to move sees the last beat", () => {
  const run = new Run(fourBars(), { ...usual, loop: true });
  assert.equal(lastBeat(run, 2.7), 2);
  assert.equal(lastBeat(run, 18.2), 18);
});
