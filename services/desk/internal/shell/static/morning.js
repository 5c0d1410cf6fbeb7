// The morning: the board follows what happens, planning can be ended early, and
// a bar of a draft is moved by pointer or keys. All of it works by forms too.
"use strict";

// Something happened: the board is read again and put in the place of the old.
let reading = false;
document.addEventListener("yard", async () => {
  if (reading || !document.getElementById("board")) return;
  reading = true;
  try {
    const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
    if (!answer.ok) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const focused = document.activeElement && document.activeElement.dataset ? document.activeElement.dataset.run : "";
    for (const id of ["board", "runs"]) {
      const fresh = page.getElementById(id);
      if (fresh) document.getElementById(id)?.replaceWith(fresh);
    }
    if (focused) document.querySelector(`[data-run="${CSS.escape(focused)}"]`)?.focus();
  } finally {
    reading = false;
  }
});

// While a form plans, the form that stops it stands beside it.
document.addEventListener("submit", (e) => {
  const form = e.target;
  if (form.classList.contains("stop")) {
    e.preventDefault();
    fetch(form.action, { method: "POST", body: new URLSearchParams(new FormData(form)), redirect: "manual" });
    return;
  }
  if (!form.dataset.long) return;
  const live = document.getElementById("live");
  live.hidden = false;
  live.textContent = form.dataset.long;
  const stop = document.querySelector("form.stop");
  if (stop) {
    stop.hidden = false;
    delete stop.dataset.busy;
    form.after(stop);
  }
}, true);

// Moving a bar. Nothing is done before the page has shown what it changes.
const svgOf = (el) => el.closest("svg.board");

function lines(svg) {
  return [...svg.querySelectorAll("g[data-truck]")].map((g) => ({ truck: g.dataset.truck, y: Number(g.querySelector(".line").getAttribute("y")) }));
}

function ghostOf(svg, bar) {
  let ghost = svg.querySelector(".ghost");
  if (!ghost) {
    ghost = document.createElementNS("http://www.w3.org/2000/svg", "rect");
    ghost.setAttribute("class", "ghost");
    svg.append(ghost);
  }
  const box = bar.querySelector(".runbar");
  for (const name of ["width", "height"]) ghost.setAttribute(name, box.getAttribute(name));
  return ghost;
}

const clock = (minute) => `${Math.floor(minute / 60)}:${String(minute % 60).padStart(2, "0")}`;

// place puts the ghost of a bar on a line at a minute, and tells where it is.
function place(bar, line, minute) {
  const svg = svgOf(bar);
  const all = lines(svg);
  line = Math.min(Math.max(line, 0), all.length - 1);
  minute = Math.min(Math.max(Math.round(minute / Number(svg.dataset.step)) * Number(svg.dataset.step), 0), 23 * 60 + 50);
  const ghost = ghostOf(svg, bar);
  ghost.setAttribute("x", Number(svg.dataset.left) + ((minute - Number(svg.dataset.from)) * Number(svg.dataset.perHour)) / 60);
  ghost.setAttribute("y", all[line].y + 8);
  bar.dataset.line = line;
  bar.dataset.minute = minute;
  const live = document.getElementById("live");
  live.hidden = false;
  live.textContent = `${all[line].truck} ${clock(minute)}`;
}

function clear(bar) {
  svgOf(bar).querySelector(".ghost")?.remove();
  delete bar.dataset.line;
  delete bar.dataset.minute;
  document.getElementById("live").hidden = true;
}

function send(bar) {
  const svg = svgOf(bar);
  const token = document.querySelector("input[name=form_token]");
  const form = document.createElement("form");
  form.method = "post";
  form.action = "/morning/edit";
  const fields = {
    form_token: token.value, request_id: crypto.randomUUID(), plan: svg.dataset.plan, run: bar.dataset.run, wish: "move",
    truck: lines(svg)[bar.dataset.line].truck, at: clock(Number(bar.dataset.minute)),
  };
  for (const [name, value] of Object.entries(fields)) {
    const input = document.createElement("input");
    input.type = "hidden";
    input.name = name;
    input.value = value;
    form.append(input);
  }
  document.body.append(form);
  form.submit();
}

// start of a bar: its line and minute now.
function start(bar) {
  const svg = svgOf(bar);
  const y = Number(bar.querySelector(".runbar").getAttribute("y"));
  const line = lines(svg).findIndex((l) => y >= l.y && y < l.y + 58);
  const minute = Number(svg.dataset.from) + ((Number(bar.dataset.x) - Number(svg.dataset.left)) * 60) / Number(svg.dataset.perHour);
  return { line, minute };
}

const mayMove = () => document.getElementById("move-allowed") !== null;

document.addEventListener("keydown", (e) => {
  const bar = e.target.closest?.("svg.board a[data-here]");
  if (!bar || !mayMove()) return;
  const step = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] }[e.key];
  if (step) {
    e.preventDefault();
    const at = bar.dataset.line === undefined ? start(bar) : { line: Number(bar.dataset.line), minute: Number(bar.dataset.minute) };
    place(bar, at.line + step[0], at.minute + step[1] * Number(svgOf(bar).dataset.step));
  } else if (e.key === "Escape" && bar.dataset.line !== undefined) {
    clear(bar);
  } else if (e.key === "Enter" && bar.dataset.line !== undefined) {
    e.preventDefault();
    send(bar);
  }
});

let drag = null;
document.addEventListener("pointerdown", (e) => {
  const bar = e.target.closest?.("svg.board a[data-here]");
  if (!bar || e.button !== 0 || !mayMove()) return;
  drag = { bar, x: e.clientX, y: e.clientY, at: start(bar), moved: false };
});
document.addEventListener("pointermove", (e) => {
  if (!drag) return;
  if (!drag.moved && Math.hypot(e.clientX - drag.x, e.clientY - drag.y) < 6) return;
  drag.moved = true;
  const svg = svgOf(drag.bar);
  const scale = svg.viewBox.baseVal.width / svg.getBoundingClientRect().width;
  const minutes = ((e.clientX - drag.x) * scale * 60) / Number(svg.dataset.perHour);
  place(drag.bar, drag.at.line + Math.round(((e.clientY - drag.y) * scale) / 58), drag.at.minute + minutes);
});
document.addEventListener("pointerup", () => {
  const was = drag;
  drag = null;
  if (was && was.moved) send(was.bar);
});
document.addEventListener("pointercancel", () => { if (drag) clear(drag.bar); drag = null; });
// A bar that was drawn along is not followed as a link, nor dragged as one.
document.addEventListener("dragstart", (e) => { if (e.target.closest?.("svg.board")) e.preventDefault(); });
document.addEventListener("click", (e) => {
  const bar = e.target.closest?.("svg.board a");
  if (bar && bar.dataset.line !== undefined) e.preventDefault();
});
