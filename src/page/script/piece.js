"use strict";

/** A piece in time: what is due when, in a run at some tempo, over some bars, with a count before it. No clock, no sound. */

const TEMPOS_PCT = [25, 150];
const MOST_COUNT_IN = 4;
/** A note that is farther off than this is early or late, s; farther than the second is another note. Common practice, no source. */
const STRICT_S = { fine: 0.05, reach: 0.3 };
/** Notes that begin within this time begin together, s. */
const TOGETHER_S = 0.03;
/** Two times that differ by less are the same, s. */
const SAME_S = 1e-6;

/**
 * How a piece is run. Bars are counted from 1; `mine` are the places of bottles that are left to who practises.
 *
 * @typedef {{ tempo: number, from: number, to: number, loop: boolean, countIn: number, click: boolean, wait: boolean,
 *   mine: Set<number> }} RunSpec
 */

/**
 * Something due in a run. Notes are known by their number in the piece.
 *
 * @typedef {{ at: number, kind: "on" | "off" | "beat", note: number, first: boolean }} Due
 */

/** A stretch of a piece, in its own written seconds from the first bar that is run. */
class Run {
  /**
   * @param {PieceData} piece
   * @param {RunSpec} spec
   */
  constructor(piece, spec) {
    this.piece = piece;
    this.spec = spec;
    const count = piece.bars_s.length - 1;
    const from = Math.min(Math.max(spec.from, 1), count);
    const to = Math.min(Math.max(spec.to, from), count);
    this.bars = [from, to];
    this.start_s = piece.bars_s[from - 1];
    this.length_s = piece.bars_s[to] - this.start_s;
    /** The count before it: that many bars like its first. */
    this.count_s = spec.countIn * (piece.bars_s[from] - this.start_s);
    this.due = this.dueInPass();
    this.counted = this.dueInCount();
  }

  /**
   * What is due in a pass: ends before beginnings, beats last.
   *
   * @returns {Due[]}
   */
  dueInPass() {
    const { piece, start_s, length_s } = this;
    /** @type {Due[]} */
    const due = [];
    piece.notes.forEach(([, begin_s, stop_s], note) => {
      const at = begin_s - start_s;
      if (at < -SAME_S || at >= length_s - SAME_S) return;
      due.push({ at: Math.max(at, 0), kind: "on", note, first: false });
      due.push({ at: Math.min(stop_s - start_s, length_s), kind: "off", note, first: false });
    });
    for (const [at_s, first] of piece.beats) {
      const at = at_s - start_s;
      if (at > -SAME_S && at < length_s - SAME_S) due.push({ at: Math.max(at, 0), kind: "beat", note: -1, first });
    }
    const order = { off: 0, on: 1, beat: 2 };
    return due.sort((a, b) => a.at - b.at || order[a.kind] - order[b.kind]);
  }

  /** @returns {Due[]} the beats of the count, before 0 */
  dueInCount() {
    const { piece, start_s, count_s } = this;
    if (count_s === 0) return [];
    const bar_s = count_s / this.spec.countIn;
    const inBar = piece.beats.filter(([at]) => at > start_s - SAME_S && at < start_s + bar_s - SAME_S);
    /** @type {Due[]} */
    const due = [];
    for (let bar = this.spec.countIn; bar > 0; bar -= 1) {
      for (const [at_s, first] of inBar) due.push({ at: at_s - start_s - bar * bar_s, kind: "beat", note: -1, first });
    }
    return due;
  }

  /**
   * Where a moment of the run is: `gone_s` written seconds since its first note, below 0 while it is counted in.
   *
   * @param {number} gone_s
   * @returns {{ round: number, at: number, over: boolean }}
   */
  place(gone_s) {
    if (gone_s < this.length_s) return { round: 0, at: gone_s, over: false };
    if (!this.spec.loop) return { round: 0, at: this.length_s, over: true };
    const round = Math.floor(gone_s / this.length_s + SAME_S);
    return { round, at: Math.max(gone_s - round * this.length_s, 0), over: false };
  }

  /**
   * The bar of a moment of the pass, counted from 1.
   *
   * @param {number} at
   */
  barAt(at) {
    return barAt(this.piece, this.start_s + Math.max(at, 0));
  }

  /** The beginnings of the notes that are left to who practises: moments with the notes that begin there. */
  gates() {
    /** @type {{ at: number, notes: number[] }[]} */
    const gates = [];
    for (const { at, kind, note } of this.due) {
      if (kind !== "on" || !this.isMine(note)) continue;
      const last = gates[gates.length - 1];
      if (last && at - last.at < TOGETHER_S) last.notes.push(note);
      else gates.push({ at, notes: [note] });
    }
    return gates;
  }

  /** @param {number} note */
  isMine(note) {
    return this.spec.mine.has(this.piece.notes[note][0]);
  }
}

/**
 * The bar of a written time, counted from 1.
 *
 * @param {PieceData} piece
 * @param {number} at_s
 */
function barAt(piece, at_s) {
  const { bars_s } = piece;
  let bar = 1;
  while (bar < bars_s.length - 1 && bars_s[bar] <= at_s + SAME_S) bar += 1;
  return bar;
}

/**
 * @typedef {{ at: number, place: number }} Struck a bottle sounded, s of the pass
 * @typedef {{ written: number, fine: number, early: number, late: number, missed: number, wrong: number }} Tally
 */

/**
 * Holds what was played against what is written: of a bottle the two that lie closest belong together, then the next
 * closest, as long as they are within reach; each belongs to one.
 *
 * @param {Struck[]} written
 * @param {Struck[]} played
 * @returns {Tally}
 */
function judge(written, played) {
  /** @type {[number, number, number][]} */
  const near = [];
  written.forEach((note, w) => {
    played.forEach((other, p) => {
      const off = other.at - note.at;
      if (other.place === note.place && Math.abs(off) <= STRICT_S.reach) near.push([off, w, p]);
    });
  });
  near.sort((a, b) => Math.abs(a[0]) - Math.abs(b[0]));
  const tally = { written: written.length, fine: 0, early: 0, late: 0, missed: 0, wrong: 0 };
  const [heard, used] = [new Set(), new Set()];
  for (const [off, w, p] of near) {
    if (heard.has(w) || used.has(p)) continue;
    heard.add(w);
    used.add(p);
    if (Math.abs(off) <= STRICT_S.fine + SAME_S) tally.fine += 1;
    else if (off < 0) tally.early += 1;
    else tally.late += 1;
  }
  tally.missed = written.length - heard.size;
  tally.wrong = played.length - used.size;
  return tally;
}
