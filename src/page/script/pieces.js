"use strict";

/** The part of the page in which a piece is played along with. */

class PiecesPart {
  /**
   * @param {Page} page
   */
  constructor(page) {
    this.page = page;
    /** @type {Player | null} */
    this.player = null;
    /** @type {number | undefined} */
    this.timer = undefined;
    this.piece = page.data.pieces[0];
    this.drawn = "";
    this.chosen = element("piece", HTMLSelectElement);
    this.who = element("who", HTMLSelectElement);
    this.button = element("run", HTMLButtonElement);
    this.coming = element("coming", HTMLCanvasElement);
    this.bars = element("bars", HTMLCanvasElement);
    this.pads = element("pads", HTMLElement);
    this.mine = element("mine", HTMLElement);
    this.listen();
    this.choose(0);
  }

  listen() {
    this.chosen.addEventListener("change", () => this.choose(this.chosen.selectedIndex));
    this.button.addEventListener("click", () => (this.player ? this.stop() : void this.start()));
    this.who.addEventListener("change", () => this.takeBottles());
    for (const id of ["from", "to", "loop", "count-in"]) {
      element(id, HTMLElement).addEventListener("change", () => this.changeRun());
    }
    for (const id of ["tempo", "click", "wait"]) {
      element(id, HTMLElement).addEventListener("input", () => this.changeOnTheWay());
    }
    this.mine.addEventListener("change", () => {
      this.who.value = "own";
      this.changeOnTheWay();
    });
    window.addEventListener("resize", () => this.draw(true));
  }

  /** @param {number} index */
  choose(index) {
    this.stop();
    this.piece = this.page.data.pieces[index];
    const { piece, page } = this;
    const count = piece.bars_s.length - 1;
    for (const id of ["from", "to"]) element(id, HTMLInputElement).max = String(count);
    element("from", HTMLInputElement).value = "1";
    element("to", HTMLInputElement).value = String(count);
    const { bottles } = page.data;
    /** @param {number[]} places */
    const notes = (places) => places.map((place) => bottles[place].note).join(", ");
    const choices = piece.players.map((places, player) => [
      `player ${player}`,
      `Player ${player + 1}: ${notes(places)}`,
    ]);
    this.who.replaceChildren(
      ...[["nobody", "Nobody: the page plays everything"], ...choices, ["own", "The bottles ticked below"]].map(
        ([value, text]) => make("option", { value }, text),
      ),
    );
    const places = lanesOf(piece, new Set()).map(({ place }) => place);
    this.mine.replaceChildren(
      ...places.map((place) => {
        const box = make("input", { type: "checkbox", value: String(place) });
        return make("label", {}, box, ` ${bottles[place].note}`);
      }),
    );
    const missing = piece.missing.map(([note, times]) => `${note} (${times === 1 ? "once" : `${times} times`})`);
    element("missing", HTMLElement).textContent =
      missing.length > 0 ? `No bottle of the set has ${missing.join(", ")}: left out.` : "";
    this.showPads();
    this.draw(true);
  }

  /** The bottles of the player who is chosen are one's own. */
  takeBottles() {
    const player = this.who.value.startsWith("player ") ? Number(this.who.value.slice(7)) : -1;
    const own = player >= 0 ? this.piece.players[player] : [];
    if (this.who.value !== "own") {
      for (const box of this.boxes()) box.checked = own.includes(Number(box.value));
    }
    this.changeOnTheWay();
  }

  boxes() {
    return [...this.mine.querySelectorAll("input")];
  }

  /** @returns {RunSpec} */
  spec() {
    /** @param {string} id */
    const number = (id) => Number(element(id, HTMLInputElement).value);
    /** @param {string} id */
    const ticked = (id) => element(id, HTMLInputElement).checked;
    return {
      tempo: number("tempo") / 100,
      from: number("from") || 1,
      to: number("to") || this.piece.bars_s.length - 1,
      loop: ticked("loop"),
      countIn: Number(element("count-in", HTMLSelectElement).value),
      click: ticked("click"),
      wait: ticked("wait"),
      mine: new Set(
        this.boxes()
          .filter((box) => box.checked)
          .map((box) => Number(box.value)),
      ),
    };
  }

  /** Other bars: begins again if it runs. */
  changeRun() {
    const runs = this.player !== null;
    this.stop();
    if (runs) void this.start();
    this.draw(true);
  }

  changeOnTheWay() {
    const spec = this.spec();
    element("tempo-said", HTMLElement).textContent = `${Math.round(100 * spec.tempo)} %`;
    this.showPads();
    if (this.player) {
      const { tempo, click, wait, mine } = spec;
      this.player.change({ tempo, click, wait, mine });
      this.pump();
    }
    this.draw(true);
  }

  async start() {
    await this.page.ready();
    if (this.player || !this.page.instrument) return;
    this.page.hands?.releaseAll();
    this.player = new Player(this.page.instrument, this.piece, this.spec());
    this.button.textContent = "Stop";
    element("passed", HTMLElement).textContent = "";
    this.pump();
    this.timer = window.setInterval(() => this.pump(), PUMP_MS);
    this.page.wantFrames();
  }

  stop() {
    window.clearInterval(this.timer);
    this.player?.stop();
    this.player = null;
    this.button.textContent = "Start";
    this.draw(true);
  }

  pump() {
    const { player } = this;
    if (!player) return;
    const now = player.instrument.context.currentTime;
    player.pump(now + (document.hidden ? AHEAD_S.hidden : AHEAD_S.shown));
    if (player.tally) {
      this.sayTally(player.tally);
      player.tally = null;
    }
    if (player.over) this.stop();
  }

  /** @param {Tally} tally */
  sayTally({ written, fine, early, late, missed, wrong }) {
    const said = `Of ${written} notes ${fine} in time, ${early} early, ${late} late, ${missed} missed; ${wrong} that are not written.`;
    element("passed", HTMLElement).textContent = said;
  }

  /** @param {number} place */
  press(place) {
    const { player } = this;
    if (!player) return;
    const { context } = player.instrument;
    const late_s = context instanceof AudioContext ? context.outputLatency || 0 : 0;
    player.press(place, late_s);
  }

  /** A button for each bottle of the piece, under its lane. */
  showPads() {
    const { bottles } = this.page.data;
    const lanes = lanesOf(this.piece, this.spec().mine);
    this.pads.style.gridTemplateColumns = lanes.map(({ own }) => (own ? `${OWN_WIDTH}fr` : "1fr")).join(" ");
    const named = this.pads.querySelectorAll("button");
    const same =
      named.length === lanes.length && lanes.every(({ place }, i) => named[i].dataset.place === String(place));
    if (!same) {
      this.pads.replaceChildren(
        ...lanes.map(({ place }) => {
          const { note, name } = bottles[place];
          return make(
            "button",
            { type: "button", "data-place": String(place), "aria-label": `${note}, ${name}` },
            note,
          );
        }),
      );
    }
    lanes.forEach(({ own }, i) => this.pads.children[i].classList.toggle("own", own));
  }

  /** Where the run is, in written seconds: what is heard now, not what is sent to the loudspeaker now. */
  heard_s() {
    const { player } = this;
    if (!player) return 0;
    const { context } = player.instrument;
    const late_s = context instanceof AudioContext ? context.outputLatency || 0 : 0;
    return player.goneAt(context.currentTime - late_s);
  }

  /** @param {boolean} [anyway] */
  draw(anyway = false) {
    const run = this.player ? this.player.run : new Run(this.piece, this.spec());
    let gone_s = this.heard_s();
    if (this.page.calm.matches) gone_s = lastBeat(run, gone_s);
    const { at, round } = run.place(gone_s);
    const bar = run.barAt(at);
    const waits = this.player?.isWaiting() ? this.player.waitsFor() : [];
    const drawn = `${gone_s} ${waits}`;
    if (!anyway && drawn === this.drawn) return;
    this.drawn = drawn;
    drawComing(this.coming, run, gone_s);
    drawBars(this.bars, run, Math.max(at, 0));
    const { bottles } = this.page.data;
    const asked = waits.map((place) => bottles[place].note).join(" and ");
    let said = `Bar ${bar} of ${this.piece.bars_s.length - 1}`;
    if (gone_s < 0) said = "Counting in";
    else if (round > 0) said += `, time ${round + 1}`;
    if (asked) said += `: waiting for ${asked}`;
    setText("where", said);
    for (const pad of this.pads.children) {
      pad.classList.toggle("asked", pad instanceof HTMLElement && waits.includes(Number(pad.dataset.place)));
    }
  }
}
