"use strict";

const fs = require("node:fs");
const path = require("node:path");
const vm = require("node:vm");

const FOLDER = path.join(__dirname, "../../src/page/script");
const FILES = ["data", "sound", "together", "piece", "player", "roll", "hands", "pieces", "pour", "page"];

/**
 * What the page's script names, without a page.
 *
 * @param {string[]} names
 */
function script(names) {
  const text = FILES.map((name) => fs.readFileSync(path.join(FOLDER, `${name}.js`), "utf8")).join("\n");
  return vm.runInNewContext(`${text}\n({ ${names.join(", ")} })`, { Math, atob, setTimeout });
}

/** A piece of four bars of four beats, each beat a second, with a note on every beat: bottles 0, 1, 2, 0, 1, 2 … */
function fourBars() {
  const beats = Array.from({ length: 16 }, (_, beat) => [beat, beat % 4 === 0]);
  return {
    title: "four bars",
    end_s: 16,
    bars_s: [0, 4, 8, 12, 16],
    beats,
    notes: beats.map(([at], index) => [index % 3, at, at + 0.5, 2.5]),
    players: [[0, 1], [2]],
    missing: [],
  };
}

/** An instrument that writes down what it is asked for, on a clock that is set by hand. */
function written() {
  const log = [];
  const context = { currentTime: 0 };
  return {
    log,
    context,
    play(place, g, at) {
      const entry = { place, g, at, until: Infinity, hushed: false };
      log.push(entry);
      return {
        place,
        at,
        release(when = context.currentTime) {
          entry.until = Math.min(entry.until, when);
        },
        hush() {
          entry.hushed = true;
        },
      };
    },
    click(at, first) {
      const entry = { click: true, at, first, hushed: false };
      log.push(entry);
      return {
        stop() {
          entry.hushed = true;
        },
      };
    },
  };
}

const usual = { tempo: 1, from: 1, to: 4, loop: false, countIn: 0, click: false, wait: false, mine: new Set() };

module.exports = { script, fourBars, written, usual };
