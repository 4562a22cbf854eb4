"use strict";

/** Fingers, keys and MIDI: who holds which bottle, and how hard. */

/** Keys from the left, row after row from the bottom: a key for each bottle, from low to high. */
const KEY_ROWS = [
  ["KeyZ", "KeyX", "KeyC", "KeyV", "KeyB", "KeyN", "KeyM", "Comma", "Period", "Slash"],
  ["KeyA", "KeyS", "KeyD", "KeyF", "KeyG", "KeyH", "KeyJ", "KeyK", "KeyL", "Semicolon", "Quote"],
  ["KeyQ", "KeyW", "KeyE", "KeyR", "KeyT", "KeyY", "KeyU", "KeyI", "KeyO", "KeyP", "BracketLeft", "BracketRight"],
  [
    "Digit1",
    "Digit2",
    "Digit3",
    "Digit4",
    "Digit5",
    "Digit6",
    "Digit7",
    "Digit8",
    "Digit9",
    "Digit0",
    "Minus",
    "Equal",
  ],
];
const KEYS = KEY_ROWS.flat();
/** What is printed on keys that are not called so, on a common English keyboard. */
const SIGNS = new Map(
  Object.entries({
    Comma: ",",
    Period: ".",
    Slash: "/",
    Semicolon: ";",
    Quote: "'",
    BracketLeft: "[",
    BracketRight: "]",
    Minus: "-",
    Equal: "=",
  }),
);
/** How long a bottle sounds that a screen reader presses, s: it has no way to hold. */
const CLICKED_S = 1.2;

/**
 * What is printed on a key.
 *
 * @param {string} code
 * @param {Map<string, string> | null} layout of the keyboard there is, if the browser says
 */
function printed(code, layout) {
  const known = layout?.get(code);
  if (known) return known.toUpperCase();
  return SIGNS.get(code) ?? code.replace(/^(Key|Digit)/, "");
}

class Hands {
  /**
   * @param {Instrument} instrument
   * @param {(place: number) => void} heard who listens to presses
   */
  constructor(instrument, heard) {
    this.instrument = instrument;
    this.heard = heard;
    /** @type {Map<string, Voice>} by who holds it: a pointer, a key, a MIDI key */
    this.held = new Map();
    /** Bottles go on sounding until they are pressed again. */
    this.latch = false;
  }

  /**
   * @param {string} who
   * @param {number} place
   * @param {number} [g] breath over the threshold
   */
  press(who, place, g = USUAL_BREATH) {
    const name = this.latch ? `latch ${place}` : who;
    const before = this.held.get(name);
    if (before) this.release(name);
    if (before && this.latch) return;
    this.held.set(name, this.instrument.play(place, g));
    this.heard(place);
  }

  /**
   * Another breath.
   *
   * @param {string} who
   * @param {number} g
   */
  blow(who, g) {
    this.held.get(who)?.blow(g);
  }

  /** @param {string} who */
  placeOf(who) {
    return this.held.get(who)?.place;
  }

  /** @param {string} who */
  release(who) {
    this.held.get(who)?.release();
    this.held.delete(who);
  }

  /** @param {boolean} latch */
  setLatch(latch) {
    this.latch = latch;
    if (!latch) this.releaseAll((who) => who.startsWith("latch "));
  }

  /** @param {(who: string) => boolean} [which] */
  releaseAll(which = () => true) {
    for (const who of [...this.held.keys()]) if (which(who)) this.release(who);
  }
}

/**
 * The breath of a place on a bottle: harder towards its top.
 *
 * @param {Element} element
 * @param {number} y
 * @param {BreathData[]} breaths
 */
function breathOfTouch(element, y, breaths) {
  const { top, height } = element.getBoundingClientRect();
  return breathOfHand(breaths, 1 - (y - top) / Math.max(height, 1));
}

/**
 * The bottle under a point, if there is one.
 *
 * @param {number} x
 * @param {number} y
 * @returns {HTMLElement | null}
 */
function bottleAt(x, y) {
  const found = document.elementFromPoint(x, y)?.closest("[data-place]");
  return found instanceof HTMLElement ? found : null;
}

/**
 * Lets pointers play: each finger a bottle of its own, sliding from one to the next.
 *
 * @param {HTMLElement} board that holds elements with `data-place`
 * @param {Hands} hands
 */
function followPointers(board, hands) {
  const { breaths } = hands.instrument.data;
  /** @param {PointerEvent} event */
  const who = (event) => `pointer ${event.pointerId}`;
  board.addEventListener("pointerdown", (event) => {
    const bottle = bottleAt(event.clientX, event.clientY);
    if (!bottle || event.button > 0) return;
    hands.press(who(event), Number(bottle.dataset.place), breathOfTouch(bottle, event.clientY, breaths));
  });
  board.addEventListener("pointermove", (event) => {
    const before = hands.placeOf(who(event));
    if (before === undefined || hands.latch) return;
    const bottle = bottleAt(event.clientX, event.clientY);
    if (!bottle) return;
    const [place, g] = [Number(bottle.dataset.place), breathOfTouch(bottle, event.clientY, breaths)];
    if (place === before) hands.blow(who(event), g);
    else hands.press(who(event), place, g);
  });
  for (const end of /** @type {const} */ (["pointerup", "pointercancel"])) {
    window.addEventListener(end, (event) => hands.release(who(event)));
  }
  // A long press would open a menu under the finger.
  board.addEventListener("contextmenu", (event) => event.preventDefault());
  board.addEventListener("click", (event) => {
    const bottle = event.target instanceof Element ? event.target.closest("[data-place]") : null;
    if (event.detail !== 0 || !(bottle instanceof HTMLElement)) return;
    hands.press("click", Number(bottle.dataset.place));
    if (!hands.latch) setTimeout(() => hands.release("click"), 1000 * CLICKED_S);
  });
}

/** @param {EventTarget | null} target */
function takesText(target) {
  if (target instanceof HTMLSelectElement || target instanceof HTMLTextAreaElement) return true;
  return target instanceof HTMLInputElement && ["text", "number"].includes(target.type);
}

/**
 * Lets the computer keyboard play: a key for each bottle, and Enter or the space bar for the bottle in focus.
 *
 * @param {Hands} hands
 */
function followKeys(hands) {
  const count = hands.instrument.data.bottles.length;
  /** @param {EventTarget | null} target */
  const focused = (target) => (target instanceof HTMLElement ? target.dataset.place : undefined);
  window.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || takesText(event.target)) return;
    const own = event.code === "Enter" || event.code === "Space" ? focused(event.target) : undefined;
    const place = own === undefined ? KEYS.indexOf(event.code) : Number(own);
    if (place < 0 || place >= count) return;
    // The quick search of some browsers is on two of these keys, and the space bar scrolls.
    event.preventDefault();
    if (!event.repeat) hands.press(`key ${event.code}`, place);
  });
  window.addEventListener("keyup", (event) => hands.release(`key ${event.code}`));
  window.addEventListener("blur", () => hands.releaseAll((who) => !who.startsWith("latch ")));
}

/**
 * Lets a MIDI keyboard play; says what came of it.
 *
 * @param {Hands} hands
 * @param {MIDIAccess} access
 * @param {(inputs: string[]) => void} found
 */
function followMidi(hands, access, found) {
  const { bottles, breaths } = hands.instrument.data;
  /** @param {MIDIMessageEvent} event */
  const take = ({ data }) => {
    if (!data || data.length < 3) return;
    const [status, key, velocity] = data;
    const who = `midi ${status & 0x0f} ${key}`;
    const kind = status & 0xf0;
    if (kind === 0x90 && velocity > 0) {
      const place = bottles.findIndex((bottle) => bottle.key === key);
      if (place >= 0) hands.press(who, place, breathOfHand(breaths, velocity / 127));
    } else if (kind === 0x80 || kind === 0x90) hands.release(who);
  };
  const look = () => {
    const inputs = [...access.inputs.values()];
    for (const input of inputs) input.onmidimessage = take;
    found(inputs.filter((input) => input.state === "connected").map((input) => input.name ?? "a MIDI input"));
  };
  access.onstatechange = look;
  look();
}
