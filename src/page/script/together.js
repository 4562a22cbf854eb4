"use strict";

/** What sounds now, in words: every interval with its name, its cents and its beats. */

/** Pairs that are listed at most. */
const MOST_PAIRS = 6;

/**
 * @typedef {{ notes: string, name: string, cents: number, ratio: string, offJust: number, beats: string }} PairWords
 */

/**
 * The pairs of the bottles that sound, the lowest first.
 *
 * @param {PageData} data
 * @param {number[]} sounding places in order
 * @returns {PairWords[]}
 */
function pairsOf(data, sounding) {
  /** @type {PairWords[]} */
  const all = [];
  sounding.forEach((low, index) => {
    for (const high of sounding.slice(index + 1)) all.push(pairWords(data, low, high));
  });
  return all.slice(0, MOST_PAIRS);
}

/**
 * @param {PageData} data
 * @param {number} low
 * @param {number} high
 * @returns {PairWords}
 */
function pairWords(data, low, high) {
  const count = data.bottles.length;
  // Pairs are written row by row: those of the lowest bottle first.
  const at = low * count - (low * (low + 1)) / 2 + (high - low - 1);
  const [, , cents, offJust, ratio, beats] = data.pairs[at];
  const [lower, higher] = [data.bottles[low], data.bottles[high]];
  return {
    notes: `${lower.note} ${higher.note}`,
    name: data.intervals[Math.abs(higher.key - lower.key)],
    cents,
    ratio,
    offJust,
    beats: beatsInWords(beats),
  };
}

/** @param {[number, number] | null} beats */
function beatsInWords(beats) {
  if (!beats) return "none";
  const [least, most] = beats.map((per_s) => per_s.toFixed(1));
  return least === most ? `${most} a second` : `${least} to ${most} a second`;
}

/**
 * The chord that exactly these bottles are, if it has a name.
 *
 * @param {PageData} data
 * @param {number[]} sounding
 * @returns {string | null}
 */
function chordOf(data, sounding) {
  const same = data.chords.find(
    ({ bottles }) => bottles.length === sounding.length && bottles.every((place) => sounding.includes(place)),
  );
  return same ? same.name : null;
}

/**
 * A number with its sign, as people write it.
 *
 * @param {number} value
 * @returns {string}
 */
function signed(value) {
  const text = Math.abs(value).toFixed(1);
  if (text === "0.0") return "0.0";
  return (value < 0 ? "−" : "+") + text;
}
