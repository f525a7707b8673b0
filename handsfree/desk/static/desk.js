// The replay of a visit: its rows in order, each for as long as its sound or its pause lasts. All by keyboard, too.
"use strict";
// A password may be looked at while it is typed.
for (const box of document.querySelectorAll("[data-shows-passwords]")) {
  const fields = [...box.closest("form").querySelectorAll("input[type=password]")];
  box.hidden = false;
  box.addEventListener("change", (event) => fields.forEach((field) => { field.type = event.target.checked ? "text" : "password"; }));
}
// On a narrow screen the page one is at is to be seen in the row of pages.
document.querySelector(".top [aria-current]")?.scrollIntoView({ block: "nearest", inline: "center" });
// Many findings at once.
for (const all of document.querySelectorAll("[data-ticks-all]")) {
  all.hidden = false;
  const boxes = () => all.closest("form").querySelectorAll(".findings input[type=checkbox]");
  all.querySelector("input").addEventListener("change", (event) => boxes().forEach((box) => { box.checked = event.target.checked; }));
}
(() => {
  const player = document.getElementById("player");
  if (!player) return;
  const [play, sound, now, pauses, speed, unfold, record, place, line] =
    ["play", "sound", "now", "pauses", "speed", "unfold", "record", "place", "line"].map((id) => document.getElementById(id));
  const rows = [...record.querySelectorAll(".row:not(.unverified)")];
  let at = -1, running = false, timer = 0;

  const clock = (row) => row.querySelector(".when").textContent;
  const words = (row) => row.querySelector(".words").textContent.trim();
  const clip = (row) => row.querySelector("[data-sound]")?.dataset.sound;

  function show(index) {
    if (rows[at]) rows[at].classList.remove("now");
    at = index;
    const row = rows[at];
    if (!row) return;
    row.closest("details").open = true;
    row.classList.add("now");
    row.scrollIntoView({ block: "nearest" });
    now.textContent = `${clock(row)}  ${words(row)}`;
    put(Number(row.dataset.at));
  }

  // The visit's own time as a line: where somebody spoke is marked, where something needs a look is marked otherwise.
  const begin = rows.length ? Number(rows[0].dataset.at) : 0;
  const end = rows.length ? Math.max(Number(rows[rows.length - 1].dataset.at), begin + 1) : 1;
  function put(seconds) {
    place.value = Math.round(seconds);
    const whole = Math.max(0, Math.round(seconds)), two = (n) => String(n).padStart(2, "0");
    place.setAttribute("aria-valuetext", `${Math.floor(whole / 3600)}:${two(Math.floor(whole / 60) % 60)}:${two(whole % 60)}`);
  }
  function drawLine() {
    place.min = Math.floor(begin);
    place.max = Math.ceil(end);
    for (const row of rows) {
      const spoke = clip(row), trouble = row.classList.contains("trouble");
      if (!spoke && !trouble) continue;
      const mark = document.createElementNS("http://www.w3.org/2000/svg", "rect");
      const x = ((Number(row.dataset.at) - begin) / (end - begin)) * 994;
      for (const [name, value] of Object.entries({ x, y: spoke ? 4 : 13, width: spoke ? 3 : 5, height: spoke ? 16 : 7 })) mark.setAttribute(name, value);
      mark.setAttribute("class", trouble ? "trouble" : "speech");
      line.append(mark);
    }
    put(begin);
  }
  place.addEventListener("input", () => {
    const index = rows.findIndex((row) => Number(row.dataset.at) >= Number(place.value));
    if (running) start(index < 0 ? rows.length - 1 : index); else show(index < 0 ? rows.length - 1 : index);
  });

  function halt(said) {
    running = false;
    clearTimeout(timer);
    sound.pause();
    play.textContent = at > 0 && at < rows.length - 1 ? "Go on" : "Play from the top";
    if (said) now.textContent = said;
  }

  // What the program said is kept as words only: its row stays for as long as saying it takes, about 15 letters a second.
  function pauseAfter(row) {
    const next = rows[at + 1];
    if (!next) return 0;
    const gap = Math.max(0, Number(next.dataset.at) - Number(row.dataset.at));
    const most = Number(pauses.value);
    return most ? Math.min(gap, Math.max(most, row.classList.contains("program") ? words(row).length / 15 : 0)) : 0;
  }

  function step() {
    clearTimeout(timer);
    if (!running) return;
    const row = rows[at];
    if (!row) return halt("That was all.");
    if (clip(row)) hear(row).catch(() => missing());
    else timer = setTimeout(onward, (pauseAfter(row) * 1000) / Number(speed.value));
  }

  // A sound that is gone, or is none, is said and passed over: the rest of the visit is still to be heard.
  function missing() {
    if (sound.error || !sound.paused || running) now.textContent = `${clock(rows[at])}  This sound is missing; on to the next.`;
    if (running) timer = setTimeout(onward, 700);
  }

  function onward() {
    if (!running) return;
    if (at + 1 >= rows.length) return halt("That was all.");
    show(at + 1);
    step();
  }

  function hear(row) {
    sound.src = clip(row);
    sound.playbackRate = Number(speed.value);
    return sound.play();
  }

  function start(index) {
    clearTimeout(timer);
    sound.pause();
    running = true;
    play.textContent = "Pause";
    show(index);
    step();
  }

  // The first row at or behind an event, else the last: findings point at events, some of which have no row.
  function rowOf(n) {
    const index = rows.findIndex((row) => Number(row.id.slice(1)) >= n);
    return index < 0 ? rows.length - 1 : index;
  }
  // Before what is to be looked at, the last that was said: that is what one wants to hear.
  function before(index) {
    let back = index;
    while (back > 0 && index - back < 12 && !clip(rows[back])) back -= 1;
    return clip(rows[back]) ? back : index;
  }

  sound.addEventListener("ended", () => { if (running) onward(); else now.textContent = "Played."; });
  play.addEventListener("click", () => running ? halt("Paused.") : start(at >= 0 && at < rows.length - 1 ? at : 0));
  for (const [index, row] of rows.entries()) {
    const button = row.querySelector("button.hear");
    if (button) button.addEventListener("click", () => { start(index); rows[index].focus({ preventScroll: true }); });
  }
  for (const button of document.querySelectorAll("button.from")) {
    button.hidden = false;
    button.addEventListener("click", () => { const index = rowOf(Number(button.dataset.from)); if (index >= 0) { start(before(index)); rows[at].focus({ preventScroll: true }); } });
  }
  unfold.addEventListener("click", () => {
    const all = [...record.querySelectorAll("details")], open = all.some((one) => !one.open);
    for (const one of all) one.open = open;
    unfold.textContent = open ? "Fold all" : "Unfold all";
  });
  function spoken(from, by) {
    for (let index = from + by; index >= 0 && index < rows.length; index += by) if (clip(rows[index])) return index;
    return -1;
  }
  // Only with the story in focus: a letter alone must do nothing elsewhere (WCAG 2.2, 2.1.4).
  record.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest("input, select, textarea, button, summary, a")) return;
    if (event.key === " ") { event.preventDefault(); play.click(); }
    if (event.key === "ArrowRight" || event.key === "ArrowLeft") {
      const to = spoken(at, event.key === "ArrowRight" ? 1 : -1);
      if (to < 0) return;
      event.preventDefault();
      start(to);
    }
  });
  // A link to a row inside a folded step unfolds it.
  function arrive() {
    const row = location.hash.startsWith("#e") && document.getElementById(location.hash.slice(1));
    if (!row || !row.closest("details")) return;
    row.closest("details").open = true;
    row.scrollIntoView({ block: "center" });
  }
  window.addEventListener("hashchange", arrive);
  arrive();
  drawLine();
  player.hidden = false;
  // Who comes from a list of findings comes to hear one: its button has the focus.
  const wanted = new URLSearchParams(location.search).get("at");
  const first = wanted && document.querySelector(`button.from[data-from="${CSS.escape(wanted)}"]`);
  if (first) first.focus();
})();
