// The replay of a visit: its rows in order, each for as long as its sound or its pause lasts. All by keyboard, too.
"use strict";
// A password may be looked at while it is typed.
for (const box of document.querySelectorAll("[data-shows-passwords]")) {
  const fields = [...box.closest("form").querySelectorAll("input[type=password]")];
  box.hidden = false;
  box.addEventListener("change", (event) => fields.forEach((field) => { field.type = event.target.checked ? "text" : "password"; }));
}
(() => {
  const player = document.getElementById("player");
  if (!player) return;
  const [play, sound, now, pauses, speed, only] = ["play", "sound", "now", "pauses", "speed", "only"].map((id) => document.getElementById(id));
  const all = [...document.querySelectorAll("#rows tr")];
  let rows = all, at = -1, running = false, timer = 0;

  const clock = (row) => row.querySelector("th").textContent;
  const words = (row) => row.querySelector(".words").textContent.trim();

  function show(index) {
    if (rows[at]) rows[at].classList.remove("now");
    at = index;
    const row = rows[at];
    if (!row) return;
    row.classList.add("now");
    row.scrollIntoView({ block: "nearest" });
    now.textContent = `${clock(row)}  ${words(row)}`;
  }

  function halt(words_) {
    running = false;
    clearTimeout(timer);
    sound.pause();
    play.textContent = at > 0 && at < rows.length - 1 ? "Go on" : "Play from the top";
    if (words_) now.textContent = words_;
  }

  // What the program said is kept as words only: its row stays for as long as saying it takes, about 15 letters a second.
  function pauseAfter(row) {
    const next = rows[at + 1];
    if (!next) return 0;
    const gap = Math.max(0, Number(next.dataset.at) - Number(row.dataset.at));
    const reading = row.classList.contains("program") ? words(row).length / 15 : 0;
    return Math.min(gap, Math.max(Number(pauses.value), Math.min(reading, Number(pauses.value) ? reading : 0)));
  }

  function step() {
    clearTimeout(timer);
    if (!running) return;
    const row = rows[at];
    if (!row) return halt("That was all.");
    if (row.dataset.sound) {
      hear(row).catch(() => halt("This sound cannot be played."));
    } else {
      timer = setTimeout(onward, (pauseAfter(row) * 1000) / Number(speed.value));
    }
  }

  function onward() {
    if (!running) return;
    if (at + 1 >= rows.length) return halt("That was all.");
    show(at + 1);
    step();
  }

  function hear(row) {
    sound.src = row.dataset.sound;
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

  sound.addEventListener("ended", () => { if (running) onward(); else now.textContent = "Played."; });
  sound.addEventListener("error", () => { if (sound.src) halt("This sound cannot be played."); });
  play.addEventListener("click", () => running ? halt("Paused.") : start(at >= 0 && at < rows.length - 1 ? at : 0));
  for (const row of all) {
    const button = row.querySelector("button.hear");
    if (!button) continue;
    button.hidden = false;
    button.addEventListener("click", () => {
      halt();
      show(rows.indexOf(row));
      hear(row).catch(() => { now.textContent = "This sound cannot be played."; });
    });
  }
  only.addEventListener("change", () => {
    halt();
    for (const row of all) row.hidden = Boolean(only.value) && !row.dataset.topics.split(" ").includes(only.value);
    rows = all.filter((row) => !row.hidden);
    show(-1);
    now.textContent = `${rows.length} rows.`;
  });
  // Only with the record in focus: a letter alone must do nothing elsewhere (WCAG 2.2, 2.1.4).
  document.getElementById("record").addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest("input, select, textarea, button, summary, a")) return;
    if (event.key === " ") { event.preventDefault(); play.click(); }
    if (event.key === "j" || event.key === "k") {
      const to = Math.min(rows.length - 1, Math.max(0, at + (event.key === "j" ? 1 : -1)));
      if (running) start(to); else show(to);
    }
  });
  player.hidden = false;
})();
