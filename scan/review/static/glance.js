// A letter, or a tap on the ink, turns a pair to its next answer. Without this file each answer is tapped itself.
"use strict";
(() => {
  const turn = (pair) => {
    const answers = [...pair.querySelectorAll("input[type=radio]")];
    const at = answers.findIndex((one) => one.checked);
    const next = answers[(at + 1) % answers.length];
    next.checked = true;
    next.focus();
  };
  // What is typed beside a choice is that choice.
  document.addEventListener("input", (event) => {
    const key = event.target.dataset ? event.target.dataset.picks : "";
    const own = key && event.target.form.querySelector(`[name="${key}"][value="~other"]`);
    if (own) own.checked = true;
  });
  document.addEventListener("click", (event) => {
    const on = event.target.closest("[data-turn], .pair .eye");
    if (on) turn(on.closest(".pair"));
  });
})();
