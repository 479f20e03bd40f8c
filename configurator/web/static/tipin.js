"use strict";
// What htmx leaves to the page: open details stay open, focus and scroll stay where they were, the address goes with
// the choice, failures are told.
(() => {
  document.documentElement.classList.add("scripted");
  const before = { open: [], shut: [], focus: "", top: 0 };
  const byId = (id) => document.getElementById(id);

  document.addEventListener("htmx:beforeSwap", () => {
    const focused = document.activeElement;
    before.open = [...document.querySelectorAll("#live details[open][id]")].map((details) => details.id);
    before.shut = [...document.querySelectorAll("#live details.slot:not([open])")].map((details) => details.id);
    before.focus = focused && focused.id ? focused.id : "";
    before.top = focused ? focused.getBoundingClientRect().top : 0;
    byId("trouble").textContent = "";
  });

  document.addEventListener("htmx:afterSwap", (event) => {
    const target = event.detail.target;
    if (target.id === "plan") {
      const came = byId(target.id);
      if (came) { came.setAttribute("tabindex", "-1"); came.focus(); }
      return;
    }
    if (target.id !== "live") { return; }
    agreed(event.detail.requestConfig.headers["Going-Back"]);
    for (const id of before.open) { const details = byId(id); if (details) { details.open = true; } }
    for (const id of before.shut) { const details = byId(id); if (details) { details.open = false; } }
    let focused = before.focus && byId(before.focus);
    if (before.focus && !focused) { focused = byId("verdict"); focused.setAttribute("tabindex", "-1"); }
    if (!focused) { return; }
    const stays = focused.id === before.focus;
    if (document.activeElement !== focused) { focused.focus({ preventScroll: stays }); }
    if (stays) { window.scrollBy(0, focused.getBoundingClientRect().top - before.top); }
  });

  // The address and the choice shown go together: a new choice becomes a new address, an address gone back to is shown.
  // Someone may go back before this script runs, so what was asked for stands in the page itself.
  const here = () => location.pathname + location.search;
  if (byId("run-refused")) { history.replaceState(null, "", byId("live").dataset.here); } // no form is sent again
  let shown = byId("live") ? byId("live").dataset.asked : here();
  const agree = () => {
    if (!byId("live") || here() === shown) { return; }
    htmx.ajax("GET", here(), { source: "#live", target: "#live", swap: "outerHTML", headers: { "Going-Back": here() } });
  };
  const agreed = (back) => {
    const now = byId("live").dataset.here;
    if (!back && now !== here()) { history.pushState(null, "", now); }
    shown = back || here();
    agree(); // someone may have gone on meanwhile
  };
  window.addEventListener("popstate", agree);
  document.addEventListener("DOMContentLoaded", agree);

  // Parts that are looked for: those of another name or size are put aside, in every box.
  const sought = byId("find-part");
  const putAside = () => {
    const words = sought.value.trim().toLowerCase();
    for (const row of document.querySelectorAll("#choice .option")) {
      row.classList.toggle("unlike", words !== "" && !row.textContent.toLowerCase().includes(words));
    }
    if (words) { for (const group of document.querySelectorAll("#choice .group:not(.shut)")) { group.open = true; } }
  };
  if (sought) {
    sought.addEventListener("input", putAside);
    document.addEventListener("htmx:afterSwap", putAside);
  }

  const tell = (says) => { byId("trouble").textContent = says; };
  document.addEventListener("htmx:responseError", (event) => {
    const page = new DOMParser().parseFromString(event.detail.xhr.responseText, "text/html");
    const says = page.getElementById("trouble-says");
    tell(says ? says.textContent.trim() : "The page could not be brought up to date; load it again.");
  });
  document.addEventListener("htmx:sendError", () => tell("tipin does not answer: is it still running in the terminal?"));

  const stop = byId("stop");
  if (stop) {
    const form = byId("order-form");
    const busy = byId("busy"), untold = busy.textContent, LOOK_MS = 1000;
    const address = `/order/progress?sheet=${encodeURIComponent(form.elements.sheet.value)}`;
    let looking = 0;
    const look = async () => {
      const says = await fetch(address).then((answer) => (answer.ok ? answer.text() : "")).catch(() => "");
      if (looking && says && says !== busy.textContent) { busy.textContent = says; }
    };
    form.addEventListener("htmx:beforeRequest", () => {
      stop.hidden = false;
      tell("");
      clearInterval(looking);
      looking = setInterval(look, LOOK_MS);
    });
    form.addEventListener("htmx:afterRequest", () => {
      stop.hidden = true;
      clearInterval(looking);
      looking = 0;
      busy.textContent = untold;
    });
    stop.addEventListener("click", () => { htmx.trigger(form, "htmx:abort"); tell("Stopped."); });
  }
})();
