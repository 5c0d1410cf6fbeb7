// What pages do by themselves: "/" goes to the search box, a form is sent once,
// and what happens in the yard is told while a page is open. Everything works
// without it.
"use strict";

document.addEventListener("keydown", (e) => {
  const at = e.target;
  if (e.key !== "/" || e.ctrlKey || e.metaKey || /^(INPUT|TEXTAREA|SELECT)$/.test(at.tagName)) return;
  const find = document.getElementById("find");
  if (find) { e.preventDefault(); find.focus(); find.select(); }
});

document.addEventListener("submit", (e) => {
  const form = e.target;
  if (form.method !== "post") return;
  if (form.dataset.busy) { e.preventDefault(); return; }
  form.dataset.busy = "yes";
  // Who goes leaves no pages of the yard on the phone.
  if (window.caches && /\/(sign-out|take)$/.test(form.action)) caches.delete("spanyard-yard");
});
// A page that comes back from the browser's memory may send its forms again.
window.addEventListener("pageshow", () => document.querySelectorAll("form[data-busy]").forEach((f) => delete f.dataset.busy));

// An element with data-feed follows a feed from data-after on. The browser
// resumes with the id of the last event by itself.
const feed = document.querySelector("[data-feed]");
if (feed && window.EventSource) {
  const live = document.getElementById("live");
  const source = new EventSource(feed.dataset.feed + "?after=" + (feed.dataset.after || "0"));
  source.addEventListener("happened", (e) => {
    document.dispatchEvent(new CustomEvent("yard", { detail: e }));
    if (feed.dataset.about && !e.data.includes(feed.dataset.about)) return;
    live.hidden = false;
    live.textContent = feed.dataset.word + " ";
    const again = document.createElement("a");
    again.href = "";
    again.textContent = feed.dataset.again;
    live.append(again);
  });
  window.addEventListener("pagehide", () => source.close());
}
