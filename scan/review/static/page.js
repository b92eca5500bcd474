// Keys for the question page, the phone's sending at once, the way in. Every page works without this file.
"use strict";
(() => {
  const STORED = "shortpencil-keys";
  const keysOn = () => localStorage.getItem(STORED) !== "off";

  // A key acts only while no field is being typed in and no modifier is held.
  const isTyping = (el) => el instanceof HTMLElement && (el.isContentEditable ||
    (el.matches("input, select, textarea") && !el.matches("[type=checkbox], [type=radio]")));

  const named = (key) => [...document.querySelectorAll("[data-key]")].find((el) => el.dataset.key === key);

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.isComposing || event.repeat) return;
    if (isTyping(event.target) || !keysOn()) return;
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    if (key === "Enter") {
      // Enter belongs to whatever has the focus; on its own it keeps what is ticked.
      if (event.target !== document.body && !event.target.matches("main, [type=checkbox], [type=radio]")) return;
    }
    const number = document.querySelector("[data-number]");
    let target = named(key);
    if (!target && key === "y") target = document.querySelector("[data-answers] [data-likely]");
    if (target) {
      event.preventDefault();
      if (target.matches("[type=checkbox]")) { target.checked = !target.checked; target.focus(); }
      else target.click();
    } else if (number && /^[0-9]$/.test(key)) {
      number.focus(); // the digit itself then arrives in the box
      number.value = "";
    }
  });

  // One answer a page: a second tap while the first one travels must not answer the next question.
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.matches("[data-again]")) return; // it answers with a file, and the page stays
    if (form.dataset.sent) { event.preventDefault(); return; }
    form.dataset.sent = "yes";
    if (form.matches("[data-send]")) {
      const busy = document.querySelector("[data-busy]");
      if (busy) busy.textContent = busy.dataset.busy;
    }
  });
  window.addEventListener("pageshow", () => {
    for (const form of document.querySelectorAll("form")) delete form.dataset.sent;
  });

  document.addEventListener("change", (event) => {
    const form = event.target.closest("form[data-send]");
    if (form && event.target.files && event.target.files.length) form.requestSubmit();
  });

  document.addEventListener("click", (event) => {
    const toggle = event.target.closest("[data-keys] button");
    if (!toggle) return;
    localStorage.setItem(STORED, keysOn() ? "off" : "on");
    show();
  });

  const show = () => {
    for (const line of document.querySelectorAll("[data-keys]")) {
      line.hidden = false;
      const button = line.querySelector("button");
      button.setAttribute("aria-pressed", String(keysOn()));
      button.textContent = keysOn() ? line.dataset.on : line.dataset.off;
    }
    // The row of a card is wider than a small page: what is asked stands in its middle.
    const strip = document.querySelector(".strip");
    const asked = strip?.querySelector(".asked")?.getBoundingClientRect();
    if (asked) {
      const seen = strip.getBoundingClientRect();
      strip.scrollLeft += asked.left + asked.width / 2 - seen.left - seen.width / 2;
    }
    const enter = document.querySelector("form[data-enter]");
    if (enter && !enter.dataset.sent) enter.requestSubmit();
  };
  document.addEventListener("DOMContentLoaded", show);
  document.addEventListener("htmx:after:swap", show);
})();
