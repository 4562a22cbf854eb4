"use strict";

/** The part of the page that is taken to the sink: what was poured is ticked off and kept in this browser. */

/**
 * Letters for the bottles that are ticked, kept in the browser if it keeps anything.
 *
 * @param {string} id of the set
 */
function keptTicks(id) {
  const key = `ullage poured ${id}`;
  return {
    /** @returns {Set<number>} */
    read() {
      try {
        const kept = JSON.parse(localStorage.getItem(key) ?? "[]");
        return new Set(Array.isArray(kept) ? kept.filter(Number.isInteger) : []);
      } catch {
        return new Set();
      }
    },
    /** @param {Set<number>} places */
    write(places) {
      try {
        localStorage.setItem(key, JSON.stringify([...places]));
      } catch {
        // A browser that keeps nothing, as a private one: the ticks last as long as the page.
      }
    },
  };
}

/** @param {Page} page */
function pourPart(page) {
  const kept = keptTicks(page.data.id);
  const ticked = kept.read();
  const boxes = [...document.querySelectorAll("input[data-poured]")].filter((box) => box instanceof HTMLInputElement);
  const show = () => {
    for (const box of boxes) {
      const place = Number(box.dataset.poured);
      box.checked = ticked.has(place);
      box.closest("article")?.classList.toggle("done", box.checked);
    }
    const done = boxes.filter((box) => box.checked).length;
    setText("poured", done === 0 ? "" : `${done} of ${boxes.length} done`);
  };
  for (const box of boxes) {
    box.addEventListener("change", () => {
      if (box.checked) ticked.add(Number(box.dataset.poured));
      else ticked.delete(Number(box.dataset.poured));
      kept.write(ticked);
      show();
    });
  }
  show();
  /** @type {HTMLElement | null} */
  let toned = null;
  const tones = document.querySelectorAll("button[data-tone]");
  for (const button of tones) {
    if (!(button instanceof HTMLElement)) continue;
    button.addEventListener("click", async () => {
      await page.ready();
      toned = toned === button ? null : button;
      for (const other of tones) other.setAttribute("aria-pressed", String(other === toned));
      page.instrument?.compare(toned ? page.data.bottles[Number(button.dataset.tone)].target_hz : null);
    });
  }
}
