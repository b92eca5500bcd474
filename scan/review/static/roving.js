// One stop for the Tab key in a table of many links; the arrow keys move within it. Without this file every link is a stop.
"use strict";
(() => {
  const cells = (grid) => [...grid.querySelectorAll("tbody tr")].map((row) => [...row.querySelectorAll("a")]);

  const makeStop = (grid, link) => {
    for (const other of grid.querySelectorAll("tbody a")) other.tabIndex = -1;
    if (link) link.tabIndex = 0;
  };

  const prepare = () => {
    for (const grid of document.querySelectorAll("table[data-roving]")) {
      if (grid.dataset.ready) continue;
      grid.dataset.ready = "yes";
      grid.setAttribute("role", "grid");
      for (const row of grid.querySelectorAll("tr")) row.setAttribute("role", "row");
      for (const cell of grid.querySelectorAll("td")) cell.setAttribute("role", "gridcell");
      for (const head of grid.querySelectorAll("tbody th")) head.setAttribute("role", "rowheader");
      for (const head of grid.querySelectorAll("thead th")) head.setAttribute("role", "columnheader");
      for (const line of document.querySelectorAll("[data-roving-hint]")) line.hidden = false;
      makeStop(grid, grid.querySelector("a[aria-current]") || grid.querySelector("a.waits") || grid.querySelector("tbody a"));
    }
  };

  // Where a key leads from row r, place c; places are clipped where a row has fewer.
  const moved = (key, ctrl, rows, r, c) => ({
    ArrowRight: [r, c + 1], ArrowLeft: [r, c - 1], ArrowDown: [r + 1, c], ArrowUp: [r - 1, c],
    Home: [ctrl ? 0 : r, 0], End: [ctrl ? rows.length - 1 : r, Infinity], PageDown: [r + 6, c], PageUp: [r - 6, c],
  })[key];

  document.addEventListener("keydown", (event) => {
    const grid = event.target.closest && event.target.closest("table[data-roving]");
    if (!grid || event.altKey || event.metaKey) return;
    const rows = cells(grid);
    const r = rows.findIndex((row) => row.includes(event.target));
    if (r < 0) return;
    const to = moved(event.key, event.ctrlKey, rows, r, rows[r].indexOf(event.target));
    if (!to) return;
    event.preventDefault();
    event.stopImmediatePropagation(); // an arrow moves here, and does not turn the page
    const row = rows[Math.min(Math.max(to[0], 0), rows.length - 1)];
    const link = row[Math.min(Math.max(to[1], 0), row.length - 1)];
    if (!link) return;
    makeStop(grid, link);
    link.focus();
  }, true);

  document.addEventListener("DOMContentLoaded", prepare);
  document.addEventListener("htmx:after:swap", prepare);
})();
