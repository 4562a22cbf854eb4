"use strict";

/**
 * What the program wrote of the set; `data.rs` names the same fields.
 *
 * @typedef {{ rate_hz: number, looped: [number, number] | null, gain: number, flac: string }} ClipData
 * @typedef {{ note: string, name: string, key: number, hz: number, target_hz: number, q: number, struck: boolean,
 *   pan: number, clips: [ClipData, ClipData] }} BottleData
 * @typedef {{ g: number, tone: number, noise: number, overtones_db: number, cents: number }} BreathData
 * @typedef {[number, number, number, number, string, [number, number] | null]} PairData
 * @typedef {{ title: string, end_s: number, bars_s: number[], beats: [number, boolean][],
 *   notes: [number, number, number, number][], players: number[][], missing: [string, number][] }} PieceData
 * @typedef {{ version: number, title: string, id: string, bottles: BottleData[], breaths: BreathData[],
 *   strokes_m_s: [number, number], pairs: PairData[], intervals: string[], chords: { name: string, bottles: number[] }[],
 *   pieces: PieceData[], room: ClipData | null }} PageData
 */

/** The breath, over the threshold of sounding, at which bottles are blown where nothing else is asked for. */
const USUAL_BREATH = 2.5;

/**
 * The bytes of a base64 text.
 *
 * @param {string} text
 * @returns {ArrayBuffer}
 */
function bytesOf(text) {
  const raw = atob(text);
  const bytes = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i += 1) bytes[i] = raw.charCodeAt(i);
  return bytes.buffer;
}

/**
 * What a breath makes of the sound: a straight line between the two breaths that were written beside it.
 *
 * @param {BreathData[]} breaths from soft to hard
 * @param {number} g
 * @returns {BreathData}
 */
function breathAt(breaths, g) {
  const last = breaths.length - 1;
  const held = Math.min(Math.max(g, breaths[0].g), breaths[last].g);
  let above = 1;
  while (above < last && breaths[above].g < held) above += 1;
  const [soft, hard] = [breaths[above - 1], breaths[above]];
  const part = (held - soft.g) / (hard.g - soft.g);
  /** @param {"tone" | "noise" | "overtones_db" | "cents"} key */
  const between = (key) => soft[key] + part * (hard[key] - soft[key]);
  return {
    g: held,
    tone: between("tone"),
    noise: between("noise"),
    overtones_db: between("overtones_db"),
    cents: between("cents"),
  };
}

/**
 * The breath of a hand, 0 to 1: equal steps are equal ratios, and the middle is the usual breath.
 *
 * @param {BreathData[]} breaths
 * @param {number} hand
 * @returns {number}
 */
function breathOfHand(breaths, hand) {
  const part = Math.min(Math.max(hand, 0), 1);
  const hardest = breaths[breaths.length - 1].g;
  const softest = breaths[0].g;
  return part < 0.5
    ? softest * (USUAL_BREATH / softest) ** (2 * part)
    : USUAL_BREATH * (hardest / USUAL_BREATH) ** (2 * part - 1);
}
