"use strict";

/** A piece sounded: what is due within a short time is handed to the context with its moment, so that a page that is held up for
 * as long is not heard. */

/** How far ahead is sent, s: in front, and behind other pages, where browsers let a page run once a second. */
const AHEAD_S = { shown: 0.3, hidden: 1.6 };
/** How often it is looked what is due, ms. */
const PUMP_MS = 50;
/** From the press on the button to the first click, s. */
const BEGIN_S = 0.12;
/** A note that is waited for counts if it comes so much too soon, s. */
const EARLY_S = 0.35;

class Player {
  /**
   * @param {Instrument} instrument
   * @param {PieceData} piece
   * @param {RunSpec} spec
   */
  constructor(instrument, piece, spec) {
    this.instrument = instrument;
    this.run = new Run(piece, spec);
    /** Moment of the context at which the run's written time `gone_s` is. */
    this.anchor = { at: instrument.context.currentTime + BEGIN_S, gone_s: -this.run.count_s };
    /** What is to be sent next: the round, and the place in what is due in it. Round −1 is the count. */
    this.next = { round: -1, index: 0 };
    /** @type {Map<number, Voice>} notes that sound, by their number */
    this.held = new Map();
    /** @type {Voice[]} what was sent, until it has begun */
    this.sent = [];
    /** @type {{ at: number, node: OscillatorNode }[]} */
    this.clicks = [];
    this.gates = spec.wait ? this.run.gates() : [];
    /** The gate that is waited for, counted over all rounds, and the bottles that have come. */
    this.gate = 0;
    /** @type {Set<number>} */
    this.come = new Set();
    /** @type {Struck[]} what was played in this round */
    this.played = [];
    this.judged = 0;
    /** @type {Tally | null} */
    this.tally = null;
    this.over = false;
  }

  /** @param {number} at of the context */
  goneAt(at) {
    const gone_s = this.anchor.gone_s + (at - this.anchor.at) * this.run.spec.tempo;
    return Math.min(gone_s, this.gateAt());
  }

  /** @param {number} gone_s */
  momentOf(gone_s) {
    return this.anchor.at + (gone_s - this.anchor.gone_s) / this.run.spec.tempo;
  }

  /** Where the run is held up, in its written time. */
  gateAt() {
    if (this.gates.length === 0) return Infinity;
    const round = Math.floor(this.gate / this.gates.length);
    if (round > 0 && !this.run.spec.loop) return Infinity;
    return round * this.run.length_s + this.gates[this.gate % this.gates.length].at;
  }

  /** Whether it stands and waits. */
  isWaiting() {
    return this.goneAt(this.instrument.context.currentTime) >= this.gateAt() - SAME_S;
  }

  /** What it waits for: places of bottles. */
  waitsFor() {
    if (this.gates.length === 0) return [];
    const { notes } = this.gates[this.gate % this.gates.length];
    const places = notes.map((note) => this.run.piece.notes[note][0]);
    return places.filter((place) => !this.come.has(place));
  }

  /**
   * Sends what is due until `until`, a moment of the context.
   *
   * @param {number} until
   */
  pump(until) {
    const { run } = this;
    for (;;) {
      const list = this.next.round < 0 ? run.counted : run.due;
      if (this.next.index >= list.length) {
        if (this.next.round >= 0 && !run.spec.loop) break;
        this.next = { round: this.next.round + 1, index: 0 };
        if (run.due.length === 0) break;
        continue;
      }
      const due = list[this.next.index];
      const gone_s = Math.max(this.next.round, 0) * run.length_s + due.at;
      const moment = this.momentOf(gone_s);
      // What begins where it waits begins with who is waited for; ends are let through up to there.
      const gate = this.gateAt();
      if (moment >= until || gone_s > gate + SAME_S || (gone_s > gate - SAME_S && due.kind !== "off")) break;
      this.send(due, moment);
      this.next.index += 1;
    }
    const now = this.instrument.context.currentTime;
    this.judgeUpTo(run.place(this.goneAt(now)).round);
    this.over = run.place(this.goneAt(now)).over;
  }

  /**
   * @param {Due} due
   * @param {number} at
   */
  send(due, at) {
    const { run, instrument } = this;
    if (due.kind === "beat") {
      if (run.spec.click || this.next.round < 0) this.clicks.push({ at, node: instrument.click(at, due.first) });
      this.clicks = this.clicks.filter((click) => click.at > instrument.context.currentTime - 1);
      return;
    }
    if (due.kind === "off") {
      const voice = this.held.get(due.note);
      if (voice) voice.release(at);
      this.held.delete(due.note);
      return;
    }
    if (run.isMine(due.note)) return;
    const [place, , , g] = run.piece.notes[due.note];
    const voice = instrument.play(place, g, at);
    const now = instrument.context.currentTime;
    this.sent = this.sent.filter((other) => other.at > now);
    this.sent.push(voice);
    this.held.set(due.note, voice);
  }

  /**
   * A bottle was sounded by who practises.
   *
   * @param {number} place
   * @param {number} late_s how much later than the sound that it answers it is noticed
   */
  press(place, late_s = 0) {
    const now = this.instrument.context.currentTime;
    const gone_s = this.anchor.gone_s + (now - late_s - this.anchor.at) * this.run.spec.tempo;
    if (this.gates.length === 0) {
      const { round, at, over } = this.run.place(gone_s);
      if (round === this.judged && !over && at > -STRICT_S.reach) this.played.push({ at, place });
      return;
    }
    const gate = this.gateAt();
    if (gone_s < gate - EARLY_S * this.run.spec.tempo || !this.waitsFor().includes(place)) return;
    this.come.add(place);
    if (this.waitsFor().length > 0) return;
    this.come.clear();
    this.gate += 1;
    this.anchor = { at: now, gone_s: gate };
    this.pump(now + AHEAD_S.shown);
  }

  /** @param {number} round that it is in now: those before it are judged */
  judgeUpTo(round) {
    const over = this.run.place(this.goneAt(this.instrument.context.currentTime)).over;
    if (this.gates.length > 0 || this.run.spec.mine.size === 0 || (round === this.judged && !over)) return;
    if (this.tally && over && this.judged > round) return;
    /** @type {Struck[]} */
    const written = [];
    for (const { at, kind, note } of this.run.due) {
      if (kind === "on" && this.run.isMine(note)) written.push({ at, place: this.run.piece.notes[note][0] });
    }
    this.tally = judge(written, this.played);
    this.played = [];
    this.judged = over ? round + 1 : round;
  }

  /**
   * Goes on from where it is in another way: what was sent and has not begun is taken back.
   *
   * @param {Partial<RunSpec>} change that keeps the bars
   */
  change(change) {
    const { instrument } = this;
    const now = instrument.context.currentTime;
    const gone_s = this.goneAt(now);
    this.takeBack(now);
    const spec = { ...this.run.spec, ...change };
    const run = new Run(this.run.piece, { ...spec, countIn: this.run.spec.countIn });
    for (const [note, voice] of this.held) {
      if (!run.isMine(note)) continue;
      voice.release(now);
      this.held.delete(note);
    }
    this.run = run;
    this.anchor = { at: now, gone_s };
    const { round, at } = run.place(gone_s);
    this.next = gone_s < 0 ? { round: -1, index: 0 } : { round, index: 0 };
    const list = gone_s < 0 ? run.counted : run.due;
    const here = gone_s < 0 ? gone_s : at;
    while (this.next.index < list.length && list[this.next.index].at < here - SAME_S) this.next.index += 1;
    this.gates = spec.wait ? run.gates() : [];
    const passed = this.gates.filter((gate) => gate.at < Math.max(here, 0) - SAME_S).length;
    this.gate = Math.max(round, 0) * this.gates.length + passed;
    this.come.clear();
    this.played = [];
    this.judged = round;
  }

  /** @param {number} now */
  takeBack(now) {
    for (const voice of this.sent) if (voice.at > now) voice.hush();
    for (const [note, voice] of this.held) if (voice.at > now) this.held.delete(note);
    this.sent = [];
    for (const { at, node } of this.clicks) if (at > now) node.stop(now);
    this.clicks = [];
  }

  /** Ends it: what sounds rings down. */
  stop() {
    const now = this.instrument.context.currentTime;
    this.takeBack(now);
    for (const voice of this.held.values()) voice.release(now);
    this.held.clear();
    this.over = true;
  }
}
