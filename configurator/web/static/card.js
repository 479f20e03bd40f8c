"use strict";
// Ticks and figures of a job card stay on the phone: back, reload and a dead battery lose none of them.
(() => {
  const place = "tipin-card:" + location.pathname + location.search;
  const boxes = [...document.querySelectorAll("input, textarea")];
  const kept = (() => { try { return JSON.parse(localStorage.getItem(place)); } catch { return null; } })();
  if (kept && kept.length === boxes.length) {
    boxes.forEach((box, number) => {
      if (box.type === "checkbox") { box.checked = kept[number]; } else { box.value = kept[number]; }
    });
  }
  addEventListener("input", () => {
    localStorage.setItem(place, JSON.stringify(boxes.map((box) => (box.type === "checkbox" ? box.checked : box.value))));
  });
})();
