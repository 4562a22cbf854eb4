"use strict";

/** Notes coming down on the bottles' lanes, and the line over the bars. */

/** Notes are shown so long before they come, s of the room's clock. */
const SHOWN_S = 3;
/** A bar is at least so wide, CSS pixels. */
const BAR_PX = 84;
/** A lane of one's own is so many times as wide as another. */
const OWN_WIDTH = 3;

/**
 * Where lanes are: the bottles of a piece from low to high, one's own wider, as parts of the whole width.
 *
 * @param {PieceData} piece
 * @param {Set<number>} mine
 * @returns {{ place: number, from: number, to: number, own: boolean }[]}
 */
function lanesOf(piece, mine) {
  const places = [...new Set(piece.notes.map(([place]) => place))].sort((a, b) => a - b);
  const widths = places.map((place) => (mine.has(place) ? OWN_WIDTH : 1));
  const whole = widths.reduce((sum, width) => sum + width, 0);
  let from = 0;
  return places.map((place, index) => {
    const to = from + widths[index] / whole;
    const lane = { place, from, to, own: mine.has(place) };
    from = to;
    return lane;
  });
}

/**
 * The moment of the last beat, for those who want nothing to move.
 *
 * @param {Run} run
 * @param {number} gone_s
 */
function lastBeat(run, gone_s) {
  if (gone_s < 0) return gone_s;
  const { round, at } = run.place(gone_s);
  let beat = 0;
  for (const due of run.due) if (due.kind === "beat" && due.at <= at + SAME_S) beat = due.at;
  return round * run.length_s + beat;
}

/**
 * A canvas made ready to be drawn on in CSS pixels, as fine as the screen is.
 *
 * @param {HTMLCanvasElement} canvas
 * @returns {{ pen: CanvasRenderingContext2D, width: number, height: number } | null}
 */
function penOf(canvas) {
  const { clientWidth: width, clientHeight: height } = canvas;
  const fine = window.devicePixelRatio || 1;
  const [wide, high] = [Math.round(width * fine), Math.round(height * fine)];
  if (wide === 0 || high === 0) return null;
  if (canvas.width !== wide || canvas.height !== high) [canvas.width, canvas.height] = [wide, high];
  const pen = canvas.getContext("2d");
  if (!pen) return null;
  pen.setTransform(fine, 0, 0, fine, 0, 0);
  pen.clearRect(0, 0, width, height);
  return { pen, width, height };
}

/** Colours of the page, as its style has them. */
function colours() {
  const style = getComputedStyle(document.documentElement);
  /** @param {string} name */
  const of = (name) => style.getPropertyValue(name).trim();
  return { ink: of("--ink"), faint: of("--line"), other: of("--note"), own: of("--accent"), paper: of("--paper") };
}

/**
 * Draws notes coming down: a note's foot is at the bottom when it begins.
 *
 * @param {HTMLCanvasElement} canvas
 * @param {Run} run
 * @param {number} gone_s written time of the run
 */
function drawComing(canvas, run, gone_s) {
  const ready = penOf(canvas);
  if (!ready) return;
  const { pen, width, height } = ready;
  const colour = colours();
  const shown_s = SHOWN_S * run.spec.tempo;
  const lanes = new Map(lanesOf(run.piece, run.spec.mine).map((lane) => [lane.place, lane]));
  pen.fillStyle = colour.faint;
  for (const { from } of lanes.values()) pen.fillRect(Math.round(from * width), 0, 1, height);
  /** @param {number} at */
  const y = (at) => height * (1 - (at - gone_s) / shown_s);
  const round = gone_s < 0 ? 0 : run.place(gone_s).round;
  for (const lap of run.spec.loop ? [round, round + 1] : [0]) {
    for (const { at, kind, note, first } of run.due) {
      const begins = lap * run.length_s + at;
      if (begins > gone_s + shown_s) break;
      if (kind === "beat") {
        pen.fillStyle = colour.faint;
        if (begins >= gone_s) pen.fillRect(0, Math.round(y(begins)), width, first ? 2 : 1);
      }
      if (kind !== "on") continue;
      const [place, start_s, stop_s] = run.piece.notes[note];
      const lane = lanes.get(place);
      const ends = begins + Math.min(stop_s - start_s, run.length_s - at);
      if (!lane || ends < gone_s) continue;
      pen.fillStyle = lane.own ? colour.own : colour.other;
      const [left, right] = [lane.from * width + 2, lane.to * width - 1];
      const [top, foot] = [Math.max(y(ends), -4), Math.min(y(begins), height)];
      pen.beginPath();
      pen.roundRect(left, top, Math.max(right - left, 2), Math.max(foot - top - 1, 3), 3);
      pen.fill();
    }
  }
  pen.fillStyle = colour.ink;
  pen.fillRect(0, height - 2, width, 2);
}

/**
 * Draws some bars of the piece as they are written, and the line where it is.
 *
 * @param {HTMLCanvasElement} canvas
 * @param {Run} run
 * @param {number} at s of the pass
 */
function drawBars(canvas, run, at) {
  const ready = penOf(canvas);
  if (!ready) return;
  const { pen, width, height } = ready;
  const colour = colours();
  const { piece } = run;
  const count = piece.bars_s.length - 1;
  const fit = Math.max(Math.floor(width / BAR_PX), 1);
  const bar = run.barAt(at);
  const first = fit >= count ? 1 : Math.floor((bar - 1) / fit) * fit + 1;
  const last = Math.min(first + fit - 1, count);
  const [from_s, to_s] = [piece.bars_s[first - 1], piece.bars_s[last]];
  const wide = width * ((last - first + 1) / fit);
  /** @param {number} s */
  const x = (s) => ((s - from_s) / (to_s - from_s)) * wide;
  const lanes = lanesOf(piece, run.spec.mine);
  const head = 18;
  const high = (height - head - 4) / Math.max(lanes.length, 1);
  pen.font = "12px Arial, Helvetica, sans-serif";
  for (let number = first; number <= last; number += 1) {
    const left = x(piece.bars_s[number - 1]);
    const looped = run.spec.loop && number >= run.bars[0] && number <= run.bars[1];
    if (looped) {
      pen.fillStyle = colour.faint;
      pen.fillRect(left, 0, x(piece.bars_s[number]) - left, head - 2);
    }
    pen.fillStyle = colour.ink;
    pen.fillText(String(number), left + 4, 13);
    pen.fillRect(Math.round(left), 0, 1, height);
  }
  lanes.forEach(({ place, own }, index) => {
    pen.fillStyle = own ? colour.own : colour.other;
    const top = head + high * (lanes.length - 1 - index);
    for (const [at_place, start_s, stop_s] of piece.notes) {
      if (at_place !== place || stop_s < from_s || start_s > to_s) continue;
      pen.fillRect(x(start_s), top, Math.max(x(stop_s) - x(start_s) - 1, 2), Math.max(high - 1, 2));
    }
  });
  pen.fillStyle = colour.own;
  pen.fillRect(x(run.start_s + at) - 1, 0, 3, height);
}
