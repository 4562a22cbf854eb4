"use strict";

/**
 * An element of the page that must be there.
 *
 * @template {HTMLElement} T
 * @param {string} id
 * @param {{ new (): T }} kind
 * @returns {T}
 */
function element(id, kind) {
  const found = document.getElementById(id);
  if (!(found instanceof kind)) throw new Error(`the page has no ${id}`);
  return found;
}

/**
 * A new element. Text is text, never markup.
 *
 * @template {keyof HTMLElementTagNameMap} K
 * @param {K} name
 * @param {Record<string, string>} attributes
 * @param {(Node | string)[]} children
 * @returns {HTMLElementTagNameMap[K]}
 */
function make(name, attributes, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...children);
  return made;
}

/**
 * Says something anew only if it is something else: screen readers read every change.
 *
 * @param {string} id
 * @param {string} text
 */
function setText(id, text) {
  const found = element(id, HTMLElement);
  if (found.textContent !== text) found.textContent = text;
}

class Page {
  /** @param {PageData} data */
  constructor(data) {
    this.data = data;
    this.calm = window.matchMedia("(prefers-reduced-motion: reduce)");
    /** @type {Instrument | null} */
    this.instrument = null;
    /** @type {Hands | null} */
    this.hands = null;
    /** @type {PiecesPart | null} */
    this.pieces = null;
    this.shown = "";
    this.wantsFrames = false;
    document.documentElement.classList.add("live");
    // Made at once, so that the recordings are read for the rate it has; it is silent until somebody touches the page.
    // Loops end on whole frames at this rate.
    this.context = new AudioContext({ latencyHint: "interactive", sampleRate: 48000 });
    this.loaded = this.load();
  }

  async load() {
    setText("sound-state", "Reading the sound …");
    const { buffers, room } = await Instrument.read(this.context, this.data);
    this.instrument = new Instrument(this.context, this.data, buffers, room);
    this.hands = new Hands(this.instrument, (place) => {
      this.pieces?.press(place);
      this.wantFrames();
    });
    followPointers(element("rack", HTMLElement), this.hands);
    followKeys(this.hands);
    if (this.data.pieces.length > 0) {
      this.pieces = new PiecesPart(this);
      followPointers(element("pads", HTMLElement), this.hands);
    }
    this.setVolume();
    this.sayState();
  }

  /** Once the recordings are read and the sound is on. Only a touch or a key may switch it on. */
  async ready() {
    const running = this.context.state === "running" ? undefined : this.context.resume();
    await this.loaded;
    await running;
  }

  sayState() {
    const off = this.context.state !== "running";
    element("sound-on", HTMLElement).hidden = !off;
    if (this.instrument) setText("sound-state", off ? "Sound is off until you switch it on." : "");
  }

  setVolume() {
    const part = Number(element("volume", HTMLInputElement).value) / 100;
    this.instrument?.setVolume(part);
  }

  listen() {
    element("sound-on", HTMLElement).addEventListener("click", () => void this.ready());
    for (const gesture of ["pointerdown", "pointerup", "keydown"]) {
      window.addEventListener(gesture, () => {
        if (this.context.state !== "running") void this.context.resume();
      });
    }
    this.context.addEventListener("statechange", () => this.sayState());
    element("volume", HTMLInputElement).addEventListener("input", () => this.setVolume());
    const latch = element("latch", HTMLInputElement);
    latch.addEventListener("change", () => {
      this.hands?.setLatch(latch.checked);
      this.wantFrames();
    });
    const dry = element("dry", HTMLInputElement);
    dry.addEventListener("change", () => this.instrument?.setDry(!dry.checked));
    element("hush", HTMLElement).addEventListener("click", () => this.hush());
    window.addEventListener("keydown", (event) => {
      if (event.key === "Escape") this.hush();
    });
    this.listenToMidi();
  }

  /** Cuts everything off: bottles, the piece, the tone to compare with. */
  hush() {
    this.pieces?.stop();
    this.hands?.releaseAll();
    this.instrument?.hush();
    for (const tone of document.querySelectorAll("button[data-tone]")) tone.setAttribute("aria-pressed", "false");
  }

  listenToMidi() {
    const button = element("midi", HTMLButtonElement);
    if (!("requestMIDIAccess" in navigator)) return;
    button.hidden = false;
    button.addEventListener("click", async () => {
      await this.ready();
      try {
        const access = await navigator.requestMIDIAccess();
        if (this.hands) {
          followMidi(this.hands, access, (inputs) =>
            setText(
              "midi-state",
              inputs.length > 0 ? `Playing from ${inputs.join(", ")}.` : "No MIDI keyboard found yet: plug one in.",
            ),
          );
        }
      } catch {
        setText("midi-state", "The browser does not let this page hear MIDI.");
      }
    });
  }

  /** Says which key of the computer plays which bottle. */
  async nameKeys() {
    const keyboard = /** @type {{ getLayoutMap?: () => Promise<Map<string, string>> } | undefined} */ (
      Reflect.get(navigator, "keyboard")
    );
    /** @type {Map<string, string> | null} */
    let layout = null;
    try {
      layout = (await keyboard?.getLayoutMap?.()) ?? null;
    } catch {
      // Not told: the keys are named as on an English keyboard.
    }
    this.data.bottles.forEach((_, place) => {
      const key = KEYS[place];
      if (key) setText(`key-${place}`, printed(key, layout));
    });
  }

  /** Parts of the page, one at a time; the arrow keys go from tab to tab. */
  tabs() {
    const tabs = [...document.querySelectorAll("[role=tab]")].filter((tab) => tab instanceof HTMLElement);
    /** @param {HTMLElement} chosen */
    const choose = (chosen) => {
      for (const tab of tabs) {
        tab.setAttribute("aria-selected", String(tab === chosen));
        tab.tabIndex = tab === chosen ? 0 : -1;
        element(tab.getAttribute("aria-controls") ?? "", HTMLElement).hidden = tab !== chosen;
      }
      // What was drawn while it was hidden had no size.
      this.pieces?.draw(true);
      this.wantFrames();
    };
    tabs.forEach((tab, index) => {
      tab.addEventListener("click", () => choose(tab));
      tab.addEventListener("keydown", (event) => {
        const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
        if (!step) return;
        const next = tabs[(index + step + tabs.length) % tabs.length];
        next.focus();
        choose(next);
      });
    });
    choose(tabs[0]);
  }

  /** The arrow keys go from bottle to bottle: one stop of the tab key for all. */
  arrows() {
    const bottles = [...document.querySelectorAll("#rack [data-place]")].filter(
      (found) => found instanceof HTMLElement,
    );
    /** @param {number} to */
    const go = (to) => {
      bottles.forEach((bottle, place) => (bottle.tabIndex = place === to ? 0 : -1));
      return bottles[to];
    };
    go(0);
    bottles.forEach((bottle, place) => {
      bottle.addEventListener("focus", () => go(place));
      bottle.addEventListener("keydown", (event) => {
        const last = bottles.length - 1;
        const to = {
          ArrowRight: place + 1,
          ArrowDown: place + 1,
          ArrowLeft: place - 1,
          ArrowUp: place - 1,
          Home: 0,
          End: last,
        }[event.key];
        if (to === undefined) return;
        event.preventDefault();
        go(Math.min(Math.max(to, 0), last)).focus();
      });
    });
  }

  /** Draws from now on, for as long as something moves. */
  wantFrames() {
    if (this.wantsFrames) return;
    this.wantsFrames = true;
    requestAnimationFrame(() => this.frame());
  }

  frame() {
    this.wantsFrames = false;
    const sounding = this.instrument?.sounding() ?? [];
    this.showSounding(sounding);
    const pieces = this.pieces;
    if (pieces && !element("pieces", HTMLElement).hidden) pieces.draw();
    if (sounding.length > 0 || pieces?.player) this.wantFrames();
  }

  /** @param {number[]} sounding */
  showSounding(sounding) {
    const key = sounding.join(" ");
    if (key === this.shown) return;
    this.shown = key;
    for (const bottle of document.querySelectorAll("[data-place]")) {
      const place = Number(/** @type {HTMLElement} */ (bottle).dataset.place);
      bottle.classList.toggle("sounds", sounding.includes(place));
    }
    // A piece changes what sounds faster than anybody could be read to.
    element("now", HTMLElement).setAttribute("aria-live", this.pieces?.player ? "off" : "polite");
    setText("now", this.nowInWords(sounding));
    const rows = pairsOf(this.data, sounding).map(({ notes, name, cents, ratio, offJust, beats }) =>
      make(
        "tr",
        {},
        make("th", { scope: "row" }, notes),
        ...[name, cents.toFixed(0), ratio, signed(offJust), beats].map((text) => make("td", {}, text)),
      ),
    );
    element("pairs", HTMLElement).replaceChildren(...rows);
    element("pairs-table", HTMLElement).hidden = rows.length === 0;
    element("alone", HTMLElement).hidden = rows.length > 0;
  }

  /** @param {number[]} sounding */
  nowInWords(sounding) {
    const notes = sounding.map((place) => this.data.bottles[place].note).join(" ");
    if (sounding.length === 0) return "Sound two bottles to hear their interval.";
    if (sounding.length === 1) return notes;
    const chord = chordOf(this.data, sounding);
    if (chord) return `${notes}: ${chord}`;
    const { notes: outer, name, cents, beats } = pairWords(this.data, sounding[0], sounding[sounding.length - 1]);
    const beating = beats === "none" ? "no beats" : `beats ${beats}`;
    const of = sounding.length > 2 ? `, ${outer}` : "";
    return `${notes}${of}: ${name}, ${cents.toFixed(0)} cents, ${beating}`;
  }
}

/** @type {Page | undefined} */
let page;

function begin() {
  const text = document.getElementById("data")?.textContent ?? "";
  page = new Page(JSON.parse(text));
  // For who looks into the page from a console.
  Reflect.set(window, "ullage", { page, Instrument, Player });
  page.tabs();
  page.arrows();
  page.listen();
  pourPart(page);
  void page.nameKeys();
  page.sayState();
}

if (typeof document !== "undefined") begin();
