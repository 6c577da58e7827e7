/* Season page: a link to figures opens what they are folded into; while the planner works the keyboard stays with the button that can do something. */
(function () {
  "use strict";
  let last = "";
  document.addEventListener("focusin", (e) => { last = e.target.id || ""; });
  function unfold(hash) {
    let at = hash.length > 1 ? document.getElementById(decodeURIComponent(hash.slice(1))) : null;
    const there = at;
    for (; at; at = at.parentElement) if (at.tagName === "DETAILS") at.open = true;
    return there;
  }
  document.addEventListener("click", (e) => {
    const link = e.target.closest && e.target.closest('a[href^="#"]');
    if (!link || !document.getElementById("season-now")) return;
    const there = unfold(link.getAttribute("href"));
    if (there) { e.preventDefault(); there.scrollIntoView({ block: "start" }); const head = there.querySelector("summary"); if (head) head.focus({ preventScroll: true }); }
  }, true);
  /* Another tablet records and the page is drawn anew: what a person had opened is opened again. */
  const opened = new Set();
  document.addEventListener("toggle", (e) => {
    const d = e.target;
    if (!d.id || !d.matches || !d.matches("details.fold,details.choices") || !d.isConnected || d.dataset.folded !== undefined) return;
    if (d.open) opened.add(d.id); else opened.delete(d.id);
  }, true);
  new MutationObserver(() => {
    opened.forEach((id) => { const d = document.getElementById(id); if (d && !d.open && !d.dataset.seen) d.open = true; if (d) d.dataset.seen = "1"; });
  }).observe(document.documentElement, { childList: true, subtree: true });
  window.slabbookSeasonFocus = function (idle) {
    const from = idle ? "season-stop" : "season-make", to = document.getElementById(idle ? "season-make" : "season-stop");
    if (last === from && to) setTimeout(() => { const at = document.activeElement; if (!at || at === document.body || at.id === from) to.focus(); }, 60);
    return window.dash_clientside.no_update;
  };
})();
