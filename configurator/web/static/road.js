"use strict";
// Runs on the road: what is typed is kept on the phone until the workshop has it, and sent once, however often it is
// sent: the form's key tells the book that it is the same run.
(() => {
  const QUEUE = "tipin-runs", DRAFT = "tipin-draft:", RECORDING = "tipin-recording:", REFUSED = "tipin-refused", AGAIN_MS = 20000, MOST_FILE_BYTES = 190000;
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
    if (run.recording) { sent.append("pull", new File([run.recording.text], "recorded.csv")); }
    // A run kept by an earlier version of this page has one file.
    for (const file of run.files || (run.file ? [run.file] : [])) { sent.append(file.field, new File([bytesOf(file.content)], file.name)); }
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
        if (run.recording) { localStorage.setItem(RECORDING + run.home, JSON.stringify(run.recording)); }
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
    const chosen = [...form.querySelectorAll("[type=file]")], pull = form.elements.pull, along = document.getElementById("run-along");
    // What this phone has recorded of the car goes along, unless it is told not to; then no feeling has to be chosen.
    const recording = read(RECORDING + form.dataset.home);
    let reading = false;
    const measured = () => pull.files.length > 0 || along.checked;
    const mayBeUnfelt = () => { for (const felt of form.querySelectorAll("[name=felt]")) { felt.required = !measured(); } };
    const offer = (there) => {
      document.getElementById("along").hidden = !there;
      along.checked = there;
      mayBeUnfelt();
    };
    if (recording) {
      document.getElementById("along-says").textContent = `Send along what this phone recorded at ${new Date(recording.at).toLocaleTimeString()}: ${recording.says}`;
    }
    offer(Boolean(recording));
    form.addEventListener("change", mayBeUnfelt);
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
      const taken = along.checked && !pull.files.length ? recording : null, sending = chosen.filter((field) => field.files.length);
      const all = sending.reduce((sum, field) => sum + field.files[0].size, taken ? taken.text.length : 0);
      if (all > MOST_FILE_BYTES && sending.length) {
        const what = sending.length > 1 || taken ? "What goes along is together" : `${sending[0].files[0].name} is`;
        document.getElementById("kept").textContent = `${what} larger than ${MOST_FILE_BYTES / 1000} kB: send the part around the tip-in.`;
        sending[0].focus();
        return;
      }
      const words = [...said().filter(([name]) => name !== "typed_at"), ["typed_at", String(Date.now())]];
      const key = form.elements.key.value;
      reading = true; // a second tap meanwhile is no second run
      const kept = [];
      for (const { name, files: [file] } of sending) { kept.push({ field: name, name: file.name, content: await base64(file) }); }
      reading = false;
      keep([...queue(), { key, to: form.getAttribute("action"), page: location.pathname + location.search, car: form.dataset.car, home: form.dataset.home, said: words, files: kept, recording: taken }]);
      if (taken) { localStorage.removeItem(RECORDING + form.dataset.home); }
      localStorage.removeItem(draft);
      form.reset();
      offer(false);
      form.elements.key.value = newKey();
      tell();
      send(key);
    });
  }
  window.addEventListener("online", () => send());
  window.addEventListener("pageshow", () => { tell(); send(); });
  setInterval(() => { if (queue().length) { send(); } }, AGAIN_MS);
})();
