// The yard's pages on a phone. A tap is kept on the phone, the next step is
// shown at once, and the tap is sent when there is a line: in the order of the
// taps, each under the request id of its form, so that it is done once. What
// was refused is told until somebody has read it. Without this script the
// forms go to the desk as they are.
"use strict";
(() => {
  const STORE = "spanyard-taps", PAGES = "spanyard-yard";
  const FIRST_WAIT = 2000, LONGEST_WAIT = 30000, ANSWER_WITHIN = 20000;
  const taps = document.getElementById("taps");
  if (!taps) return;
  let sending = false, trouble = "", position = 0, wait = FIRST_WAIT, timer = 0;

  // What the phone keeps: taps that wait, refusals to be told, and what was sent
  // since a page was made, by step, with the position of the ledger after it: a
  // page that is older does not show it yet.
  const read = () => {
    const none = { taps: [], told: [], sent: {} };
    try { return { ...none, ...JSON.parse(localStorage.getItem(STORE)) }; } catch { return none; }
  };
  const change = (how) => {
    const kept = read();
    how(kept);
    localStorage.setItem(STORE, JSON.stringify(kept));
  };
  const fill = (text, ...values) => values.reduce((t, v) => t.replace("%s", v), text);
  const yard = () => document.getElementById("yard");
  const token = () => (document.querySelector("input[name=form_token]") || {}).value || "";

  // keep a form as a tap; false when the phone cannot.
  function keep(form) {
    const fields = [...new FormData(form)].filter(([name]) => name !== "form_token").map(([name, value]) => [name, String(value)]);
    const id = (fields.find(([name]) => name === "request_id") || [])[1];
    const tap = {
      id, fields, person: taps.dataset.person, path: new URL(form.action).pathname,
      keys: (form.dataset.keys || "").split(" ").filter(Boolean), words: form.dataset.words || "", at: Date.now(),
    };
    try {
      change((kept) => { if (!kept.taps.some((t) => t.id === id)) kept.taps.push(tap); });
    } catch { return false; }
    return true;
  }

  // show what is done, what waits, and the step that comes next.
  function show(moveOn) {
    const kept = read(), at = yard() ? Number(yard().dataset.position) : 0;
    const sent = Object.keys(kept.sent).filter((key) => kept.sent[key] > at);
    showSteps(new Set(kept.taps.flatMap((t) => t.keys)), new Set(sent), moveOn);
    showLine(kept);
    showTold(kept);
  }

  function showSteps(waiting, sent, moveOn) {
    const page = yard();
    if (!page) return;
    let done = Number(page.dataset.done), next = null, inSight = null;
    page.querySelectorAll("[data-tick]").forEach((tick) => {
      const open = tick.classList.contains("t-open");
      tick.classList.toggle("t-waiting", open && waiting.has(tick.dataset.tick));
      tick.classList.toggle("t-sent", open && sent.has(tick.dataset.tick));
    });
    page.querySelectorAll("[data-step]").forEach((step) => {
      const over = (s) => waiting.has(s.dataset.step) || sent.has(s.dataset.step);
      const aside = (s) => "step" in s.dataset && s.dataset.step.startsWith("aside:");
      if (over(step) && !aside(step)) done++;
      // What was to be moved away for a pick need not be when that is done.
      let pick = step;
      while (aside(pick)) pick = pick.nextElementSibling;
      const is = over(step) || over(pick);
      step.classList.toggle("waiting", is);
      if (!is && !("stopped" in step.dataset) && !next) next = step;
      if (!is && "#" + step.id === location.hash) inSight = step;
    });
    const end = page.querySelector("[data-end]");
    const now = inSight || next || end;
    if (!now) return;
    if (!inSight && location.hash) history.replaceState(null, "", location.pathname + location.search);
    page.querySelectorAll(".step").forEach((step) => step.classList.toggle("now", step === now));
    if (end) end.querySelectorAll("form").forEach((f) => { f.hidden = waiting.has((f.dataset.keys || "").trim()); });
    const bar = document.getElementById("bar"), far = document.getElementById("far");
    if (bar && far) {
      bar.value = done;
      far.textContent = fill(page.dataset.progress, done, page.dataset.all);
    }
    if (moveOn) {
      now.focus({ preventScroll: true });
      taps.scrollIntoView({ block: "start" });
    }
  }

  function showLine(kept) {
    const line = document.getElementById("line"), n = kept.taps.length;
    const other = kept.taps.find((t) => t.person !== taps.dataset.person);
    line.hidden = n === 0 || !(trouble || other);
    if (line.hidden) { line.textContent = ""; return; }
    let text = n === 1 ? taps.dataset.single : fill(taps.dataset.kept, n);
    if (other) text = fill(taps.dataset.other, n, other.person);
    else if (trouble === "sign") text = fill(taps.dataset.sign, n);
    if (line.textContent !== text) line.textContent = text;
    if (trouble === "sign" && !other) {
      const a = document.createElement("a");
      a.href = "/sign-in?to=" + encodeURIComponent(location.pathname);
      a.textContent = " →";
      line.append(a);
    }
  }

  function showTold(kept) {
    const told = document.getElementById("told");
    const shown = new Set([...told.children].map((c) => c.dataset.id));
    [...told.children].forEach((c) => { if (!kept.told.some((t) => t.id === c.dataset.id)) c.remove(); });
    const fresh = kept.told.filter((t) => !shown.has(t.id));
    fresh.forEach((t) => {
      const box = document.createElement("div"), strong = document.createElement("strong"), button = document.createElement("button");
      box.className = "trouble";
      box.dataset.id = t.id;
      strong.textContent = taps.dataset.not;
      const time = new Date(t.at).toLocaleTimeString([], { hour: "numeric", minute: "2-digit" });
      box.append(strong, " " + fill(taps.dataset.by, t.words, t.person, time) + " " + t.problem);
      if ((t.places || []).length) {
        const list = document.createElement("ul");
        t.places.forEach((p) => { const li = document.createElement("li"); li.textContent = p; list.append(li); });
        box.append(list);
      }
      button.type = "button";
      button.textContent = taps.dataset.read;
      button.addEventListener("click", () => { change((k) => { k.told = k.told.filter((x) => x.id !== t.id); }); show(); });
      box.append(button);
      told.append(box);
    });
    if (fresh.length) taps.scrollIntoView({ block: "start" });
  }

  // send what is kept, in order, until there is nothing left or no line.
  async function send() {
    if (sending) return;
    sending = true;
    clearTimeout(timer);
    let again = false, renewed = false;
    try {
      for (let tap; (tap = read().taps[0]) && tap.person === taps.dataset.person;) {
        const a = await post(tap);
        if (a.stale && !renewed) {
          renewed = true;
          if (await refresh()) continue;
        }
        if (a.keep) { trouble = a.sign || a.stale ? "sign" : "line"; break; }
        trouble = "";
        wait = FIRST_WAIT;
        position = Math.max(position, a.position || 0);
        again = again || Boolean(a.changed || a.problem);
        change((kept) => {
          kept.taps = kept.taps.filter((t) => t.id !== tap.id);
          if (!a.problem) tap.keys.forEach((key) => { kept.sent[key] = a.position || 0; });
          else kept.told.push({ id: tap.id, words: tap.words, person: tap.person, at: tap.at, problem: a.problem, places: a.places });
        });
      }
    } finally {
      sending = false;
    }
    if (again) await refresh();
    show();
    if (trouble && read().taps.length) {
      timer = setTimeout(send, wait);
      wait = Math.min(2 * wait, LONGEST_WAIT);
    }
  }

  async function post(tap) {
    try {
      const answer = await fetch(tap.path, {
        method: "POST", headers: { Accept: "application/json" },
        body: new URLSearchParams([...tap.fields, ["form_token", token()]]), signal: AbortSignal.timeout(ANSWER_WITHIN),
      });
      return await answer.json();
    } catch { return { keep: true }; }
  }

  // refresh fetches the page as it is now; false when that cannot be had.
  async function refresh() {
    if (!yard()) return false;
    let text;
    try {
      const answer = await fetch(taps.dataset.path + "?stock=" + position, { signal: AbortSignal.timeout(ANSWER_WITHIN) });
      if (!answer.ok || answer.redirected) return false;
      await renew(answer.clone());
      text = await answer.text();
    } catch { return false; }
    const fresh = new DOMParser().parseFromString(text, "text/html");
    const page = fresh.getElementById("yard"), who = fresh.getElementById("taps");
    if (!page || !who) return false;
    yard().replaceWith(document.adoptNode(page));
    taps.dataset.person = who.dataset.person;
    forget(Number(page.dataset.position));
    document.querySelectorAll("input[name=form_token]").forEach((i) => { i.value = token(); });
    const live = document.getElementById("live");
    if (live) live.hidden = true;
    show();
    return true;
  }

  // renew the page that is kept for when there is no line: what is forgotten here
  // has to be on it.
  async function renew(answer) {
    if (!window.caches) return;
    try {
      const cache = await caches.open(PAGES);
      if (await cache.match(taps.dataset.path)) await cache.put(taps.dataset.path, answer);
    } catch { /* there is no room: the page as it was stays */ }
  }

  // forget what pages show by now.
  function forget(at) {
    change((kept) => { Object.keys(kept.sent).forEach((key) => { if (kept.sent[key] <= at) delete kept.sent[key]; }); });
  }

  document.addEventListener("submit", (e) => {
    const form = e.target;
    if (e.defaultPrevented || !form.classList.contains("tap") || !keep(form)) return;
    e.preventDefault();
    delete form.dataset.busy;
    show(true);
    send();
  });
  window.addEventListener("hashchange", () => show(true));
  window.addEventListener("online", send);
  window.addEventListener("storage", () => show());
  document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
  document.addEventListener("yard", (e) => {
    const feed = document.querySelector("[data-feed]");
    if (feed && feed.dataset.about && e.detail.data.includes(feed.dataset.about) && !sending) refresh();
  });

  // The worker shows these pages again when there is no line. Browsers have it
  // on safe connections alone.
  async function keepPages() {
    if (!navigator.serviceWorker || !window.caches) return;
    try {
      await navigator.serviceWorker.register("/yard/worker.js", { scope: "/yard" });
      const links = [...document.querySelectorAll("a[data-keep]")].slice(0, 4).map((a) => new URL(a.href).pathname);
      const cache = await caches.open(PAGES);
      await cache.addAll(["/static/desk.css", "/static/desk.js", "/static/yard.js", "/static/beam.svg"]);
      for (const path of new Set([location.pathname, ...links])) {
        const answer = await fetch(path);
        if (answer.ok && !answer.redirected) await cache.put(path, answer);
      }
    } catch { /* there is no line, or no room: the page works without */ }
  }
  keepPages();
  if (yard()) forget(Number(yard().dataset.position));
  show();
  send();
})();
