"use strict";
// Runs on the road: what is typed is kept on the phone until the workshop has it, and sent once, however often it is
// sent: the form's key tells the book that it is the same run.
(() => {
  const QUEUE = "tipin-runs", DRAFT = "tipin-draft:", REFUSED = "tipin-refused", AGAIN_MS = 20000, MOST_FILE_BYTES = 190000;
  const read = (name) => { try { return JSON.parse(localStorage.getItem(name)); } catch { return null; } };
  const queue = () => read(QUEUE) || [];
  const keep = (runs) => localStorage.setItem(QUEUE, JSON.stringify(runs));
  // A file is kept as base64, since that store holds text alone, and sent as the file that it was.
  const bytesOf = (text) => Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
  const base64 = async (file) => {
    const bytes = new Uint8Array(await file.arrayBuffer());
    let text = "";
    for (const byte of bytes) { text += String.fromCharCode(byte); }
    return btoa(text);
  };
  const body = (run) => {
    const sent = new FormData();
    for (const [name, word] of run.said) { sent.append(name, word); }
    if (run.file) { sent.append(run.file.field, new File([bytesOf(run.file.content)], run.file.name)); }
    return sent;
  };
  const newKey = () => [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  const form = document.getElementById("run");
  const draft = form ? DRAFT + location.pathname + location.search : "";

  const tell = () => {
    const waiting = queue(), line = document.getElementById("waiting");
    if (!line) { return; }
    const many = `${waiting.length} run${waiting.length === 1 ? "" : "s"}`;
    line.textContent = waiting.length ? `Kept on this phone: ${many} to send. ` : "";
    for (const run of waiting.filter((one) => one.refused)) {
      const back = document.createElement("a");
      back.href = run.page;
      back.textContent = `${run.car}: ${run.refused}`;
      back.addEventListener("click", () => {
        localStorage.setItem(DRAFT + run.page, JSON.stringify(run.said));
        sessionStorage.setItem(REFUSED, run.refused);
        keep(queue().filter((one) => one.key !== run.key));
      });
      line.append(back);
    }
  };

  // One after the other, in the order in which they were driven. What the workshop refuses waits for whoever typed it.
  const pass = async (ours) => {
    let there = "";
    for (const run of queue().filter((one) => !one.refused)) {
      let answer;
      try {
        answer = await fetch(run.to, { method: "POST", body: body(run) });
      } catch { break; }
      if (answer.status >= 500 || answer.status === 401 || answer.status === 403) { break; }
      if (answer.ok) {
        keep(queue().filter((one) => one.key !== run.key));
        if (run.key === ours) { there = answer.url; }
      } else {
        const shown = new DOMParser().parseFromString(await answer.text(), "text/html");
        const says = shown.querySelector("#run-refused p, #trouble-says p");
        const refused = says ? says.textContent.trim() : "it was not taken";
        keep(queue().map((one) => (one.key === run.key ? { ...one, refused } : one)));
      }
    }
    tell();
    // Another page of this browser may have sent it meanwhile.
    if (ours && !leaving && !queue().some((one) => one.key === ours)) {
      leaving = true;
      location.assign(there || form.dataset.home);
    }
  };
  let leaving = false;
  let sent = Promise.resolve();
  const send = (ours) => { sent = sent.then(() => pass(ours)); };

  if (form) {
    const said = () => [...new FormData(form)].filter(([, word]) => typeof word === "string");
    const chosen = form.querySelector("[type=file]");
    let reading = false;
    const fill = (words) => {
      for (const [name, word] of words) {
        if (name === "pin") { continue; }
        for (const field of form.querySelectorAll(`[name="${CSS.escape(name)}"]`)) {
          if (field.type === "file") { continue; }
          if (field.type === "radio") { field.checked = field.value === word; }
          else if (field.type === "checkbox") { field.checked = true; }
          else { field.value = word; }
          const fold = field.closest("details");
          if (fold && word) { fold.open = true; } // what was typed is seen
        }
      }
    };
    const kept = read(draft);
    if (kept && !document.getElementById("run-refused")) { fill(kept); }
    const refused = sessionStorage.getItem(REFUSED);
    sessionStorage.removeItem(REFUSED);
    document.getElementById("kept").textContent = refused || "Kept on this phone until the workshop has it.";
    form.addEventListener("input", () => localStorage.setItem(draft, JSON.stringify(said())));
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      if (reading) { return; }
      const file = chosen.files[0];
      if (file && file.size > MOST_FILE_BYTES) {
        document.getElementById("kept").textContent = `${file.name} is larger than ${MOST_FILE_BYTES / 1000} kB: send the part around the tip-in.`;
        chosen.focus();
        return;
      }
      const words = [...said().filter(([name]) => name !== "typed_at"), ["typed_at", String(Date.now())]];
      const key = form.elements.key.value;
      reading = true; // a second tap meanwhile is no second run
      const kept = file ? { field: chosen.name, name: file.name, content: await base64(file) } : null;
      reading = false;
      keep([...queue(), { key, to: form.getAttribute("action"), page: location.pathname + location.search, car: form.dataset.car, said: words, file: kept }]);
      localStorage.removeItem(draft);
      form.reset();
      form.elements.key.value = newKey();
      tell();
      send(key);
    });
  }
  window.addEventListener("online", () => send());
  window.addEventListener("pageshow", () => { tell(); send(); });
  setInterval(() => { if (queue().length) { send(); } }, AGAIN_MS);
})();
