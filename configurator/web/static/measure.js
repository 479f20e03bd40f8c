"use strict";
// A phone records the pull: it starts and ends by itself, with sounds, and keeps what it has until a run takes it along.
(() => {
  const RECORDING = "tipin-recording:", MOST_BYTES = 185000, KEPT_EVERY_MS = 5000, SENSOR_WITHIN_MS = 3000;
  const byId = (id) => document.getElementById(id);
  const form = byId("measure"), start = byId("measure-start"), stop = byId("measure-stop");
  const name = RECORDING + form.dataset.home;
  const say = (text) => { byId("measure-says").textContent = text; };
  const read = () => { try { return JSON.parse(localStorage.getItem(name)); } catch { return null; } };
  const two = (figure) => (Math.round(figure * 100) / 100).toString();

  let context = null, awake = null, timer = 0, keeper = 0, now = null;
  const sound = (pitch_hz, after_s, lasts_s) => {
    if (!context) { return; }
    const tone = context.createOscillator(), from = context.currentTime + after_s;
    tone.frequency.value = pitch_hz;
    tone.connect(context.destination);
    tone.start(from);
    tone.stop(from + lasts_s);
  };
  const showKept = () => {
    const kept = read();
    byId("measure-has").hidden = !kept;
    if (kept) { byId("measure-kept").textContent = `Kept on this phone: ${kept.says}, of ${new Date(kept.at).toLocaleTimeString()}.`; }
  };
  const keep = () => {
    if (!now || !now.count) { return; }
    const seconds = (now.last_ms - now.first_ms) / 1000, often = seconds > 0 ? Math.round((now.count - 1) / seconds) : 0;
    const says = `${Math.round(seconds)} s, ${often} readings a second`;
    try { localStorage.setItem(name, JSON.stringify({ at: now.at, says, text: now.text })); } catch { say("This browser keeps nothing: the recording is lost when the page closes."); }
  };
  const moved = (event) => {
    const felt = event.accelerationIncludingGravity;
    if (!felt || felt.x === null) { return; }
    const at_ms = Math.round(event.timeStamp);
    if (now.count && at_ms <= now.last_ms) { return; }
    if (!now.count) { now.first_ms = at_ms; }
    now.last_ms = at_ms;
    now.count += 1;
    now.text += `${at_ms - now.first_ms},${two(felt.x)},${two(felt.y)},${two(felt.z)}\n`;
    if (now.text.length > MOST_BYTES) { end("That is as much as is sent at once."); }
  };
  const end = (says) => {
    window.removeEventListener("devicemotion", moved);
    clearInterval(timer);
    clearInterval(keeper);
    if (awake) { awake.release(); awake = null; }
    keep();
    const recorded = now && now.count > 1;
    now = null;
    start.hidden = false;
    stop.hidden = true;
    for (const pause_s of [0, 0.6, 1.2]) { sound(440, pause_s, 0.4); }
    say(recorded ? says : "Nothing was recorded.");
    showKept();
    if (recorded) { byId("measure-use").focus(); }
  };
  const record = (seconds) => {
    now = { at: Date.now(), first_ms: 0, last_ms: 0, count: 0, text: "time [ms],x [m/s2],y [m/s2],z [m/s2]\n" };
    window.addEventListener("devicemotion", moved);
    sound(880, 0, 1);
    const began = Date.now();
    keeper = setInterval(keep, KEPT_EVERY_MS);
    timer = setInterval(() => {
      const gone = Date.now() - began;
      if (!now.count && gone > SENSOR_WITHIN_MS) { end(""); say("This device has no motion sensor that a page may read. Send a file instead."); return; }
      if (gone >= seconds * 1000) { end("Recorded. Stop the car first."); return; }
      say(`Recording: ${Math.ceil(seconds - gone / 1000)} s to go. Hands off the phone.`);
    }, 250);
  };
  const missing = () => {
    if (!window.isSecureContext) { return "Browsers read the motion sensor on a secure connection only, and this page came over a plain one. Start it with tipin serve --tls, or send a file instead."; }
    if (!("DeviceMotionEvent" in window)) { return "This browser reads no motion sensor. Send a file instead."; }
    return "";
  };

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    // Both are given to whoever taps, and to nobody later.
    context = context || (window.AudioContext ? new AudioContext() : null);
    if (DeviceMotionEvent.requestPermission) {
      const given = await DeviceMotionEvent.requestPermission().catch(() => "denied");
      if (given !== "granted") { say("The phone keeps its motion sensor to itself: allow it for this page in the browser's settings, or send a file instead."); return; }
    }
    try { awake = await navigator.wakeLock.request("screen"); } catch { awake = null; } // then the screen must not go dark by itself
    const after = Number(form.elements.after.value), lasts = Number(form.elements.lasts.value), asked = Date.now();
    start.hidden = true;
    stop.hidden = false;
    stop.focus();
    sound(660, 0, 0.2);
    timer = setInterval(() => {
      const left = after - (Date.now() - asked) / 1000;
      if (left <= 0) { clearInterval(timer); record(lasts); return; }
      say(`Starts by itself in ${Math.ceil(left)} s. Put the phone in its place.`);
    }, 250);
  });
  stop.addEventListener("click", () => end("Recorded. Stop the car first."));
  byId("measure-drop").addEventListener("click", () => { localStorage.removeItem(name); showKept(); say("It is gone."); start.focus(); });
  document.addEventListener("visibilitychange", () => { if (document.hidden && now) { end("The page went out of sight, and the recording ended there."); } });
  showKept();
  if (missing()) { say(missing()); start.disabled = true; }
})();
