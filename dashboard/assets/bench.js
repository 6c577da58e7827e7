/* The tablet's part of recording: forms in a dialog outside the page, drafts that survive, a clock per step, and an outbox.
   A command gets its id when "Record" is pressed. It stays in the outbox until the service has answered, and is sent again with the
   same id when the connection returns, so it is recorded once. A refusal comes back with what was typed. */
(function () {
  "use strict";
  const OUTBOX = "slabbook.outbox", DRAFT = "slabbook.draft.", CLOCK = "slabbook.clock.", THEME = "slabbook.theme", WHO = "slabbook.who";
  const cache = new Map();
  let offset = 0, sending = false, dialog = null, checkTimer = 0, opener = null;

  const read = (key, otherwise) => { try { return JSON.parse(localStorage.getItem(key)) ?? otherwise; } catch (e) { return otherwise; } };
  const write = (key, value) => { try { value === null ? localStorage.removeItem(key) : localStorage.setItem(key, JSON.stringify(value)); return true; } catch (e) { return false; } };
  const el = (id) => document.getElementById(id);
  const newId = () => (crypto.randomUUID ? crypto.randomUUID() : Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join(""));
  const minutesText = (ms) => { const m = Math.max(0, Math.round(ms / 60000)); return m >= 60 ? Math.floor(m / 60) + " h " + String(m % 60).padStart(2, "0") + " min" : m + " min"; };

  /* --- from fields to a command ------------------------------------------------------------------------------- */
  function put(target, path, value) {
    const keys = path.split(".");
    let at = target;
    keys.forEach((key, i) => {
      if (i === keys.length - 1) at[key] = value;
      else { if (!(key in at)) at[key] = /^\d+$/.test(keys[i + 1]) ? [] : {}; at = at[key]; }
    });
  }
  function tidy(value) {
    if (Array.isArray(value)) return value.filter((x) => x !== null && x !== undefined).map(tidy);
    if (value && typeof value === "object") return Object.fromEntries(Object.entries(value).map(([k, v]) => [k, tidy(v)]));
    return value;
  }
  function withUnit(input) {
    const text = input.value.trim(), unit = input.dataset.unit;
    if (input.dataset.exact && input.value === input.dataset.planned) return input.dataset.exact; /* shown rounded, and nobody touched it */
    return unit && text && /^[\d.,\/\s]+$/.test(text) ? text + " " + unit : text;
  }
  function commandOf(form) {
    const data = {}, skipped = window.slabbookRows.skipped(form), renumbered = {}, counts = {};
    const there = [...form.querySelectorAll("[data-row]")].filter((row) => !skipped.includes(row.dataset.row + "."));
    const filledIn = (row) => {
      const needs = (row.dataset.need || "").split(" ").filter(Boolean), path = row.dataset.row;
      return !needs.length || needs.some((n) => { const f = row.querySelector('[name="' + path + "." + n + '"]'); return f && f.value.trim(); });
    };
    const stemOf = (row) => row.dataset.row.replace(/\.\d+$/, "");
    there.forEach((row) => {
      const path = row.dataset.row, stem = stemOf(row);
      const filled = filledIn(row) || (row.hasAttribute("data-rest") && there.some((x) => x !== row && stemOf(x) === stem && filledIn(x)));
      if (!filled) skipped.push(path + ".");
      else { counts[stem] = counts[stem] || 0; renumbered[path + "."] = stem + "." + counts[stem]++ + "."; }
    });
    const paths = {}, day = form.querySelector('input[name="day"]');
    form.querySelectorAll("[data-list]").forEach((list) => put(data, list.dataset.list, []));
    form.querySelectorAll("input[name], select[name]").forEach((f) => {
      if (f.name === "crew" || f.name === "who" || f.name === "minutes" || f.name.startsWith("own.")) return;
      if ((f.type === "radio" || f.type === "checkbox") && !f.checked) return;
      if (skipped.some((s) => f.name.startsWith(s))) return;
      const value = withUnit(f);
      const cleared = f.name.startsWith("entry.") && !f.closest("[data-row]") && (f.dataset.planned || f.tagName === "SELECT");
      if (value === "" && !cleared) return; /* a book field made empty again says so; everything else left empty says nothing */
      const head = Object.keys(renumbered).find((r) => f.name.startsWith(r));
      const name = head ? renumbered[head] + f.name.slice(head.length) : f.name;
      paths[name] = f.name;
      put(data, name, value);
    });
    const crew = [...form.querySelectorAll('input[name="crew"]:checked')];
    const minutes = form.querySelector('input[name="minutes"]');
    const work = [];
    crew.forEach((c) => {
      const own = form.querySelector('[name="own.' + CSS.escape(c.value) + '"]');
      const said = own && own.value.trim() ? withUnit(own) : minutes ? withUnit(minutes) : "";
      work.push({ worker: c.value, time: said || "0 min" });
    });
    if (work.length) data.work = work;
    const poured = new Set((data.gives || []).map((g) => g.portion)); /* portions nobody weighed apart are one: everything went into it */
    (data.takes || []).forEach((t) => { if (t && t.portion && !poured.has(t.portion)) delete t.portion; });
    const amend = data.amend; delete data.amend;
    let name = form.dataset.command, body = tidy(data);
    if (amend) { body = { origin: amend.origin, reason: amend.reason || "", command: { name, ...body } }; name = "amend"; }
    return { name, data: body, paths, who: (form.querySelector('input[name="who"]:checked') || {}).value || "", crew: crew.map((c) => c.value), noTime: crew.length && work.some((w) => w.time === "0 min") };
  }

  /* --- the dialog --------------------------------------------------------------------------------------------- */
  function ensureDialog() {
    if (dialog) return dialog;
    dialog = document.createElement("dialog");
    dialog.id = "form-dialog";
    dialog.setAttribute("aria-labelledby", "form-title");
    document.body.appendChild(dialog);
    dialog.addEventListener("click", (e) => { if (e.target.closest("[data-close]")) dialog.close(); });
    dialog.addEventListener("close", () => { /* the page may have been drawn anew meanwhile */
      const back = opener && (document.contains(opener) ? opener : document.querySelector('[data-form="' + CSS.escape(opener.dataset.form || "") + '"]'));
      if (back) back.focus();
      opener = null;
    });
    dialog.addEventListener("submit", (e) => { e.preventDefault(); submit(e.target); });
    dialog.addEventListener("input", (e) => {
      if (e.target.name === "entry.id" && e.target.value !== e.target.value.toUpperCase()) { const at = e.target.selectionStart; e.target.value = e.target.value.toUpperCase(); e.target.setSelectionRange(at, at); }
      keepDraft(); e.target.classList && e.target.closest(".field") && check(e.target.form); });
    dialog.addEventListener("change", () => { keepDraft(); });
    return dialog;
  }
  async function formHtml(address) {
    try {
      const answer = await fetch("/forms/" + address, { cache: "no-store" });
      const text = await answer.text();
      if (answer.ok) cache.set(address, text);
      return text;
    } catch (e) {
      if (cache.has(address)) return cache.get(address);
      throw e;
    }
  }
  async function open(address, refusal, who) {
    ensureDialog();
    if (who) opener = who;
    try { dialog.innerHTML = await formHtml(address); }
    catch (e) { dialog.innerHTML = '<form><h2 tabindex="-1">No connection</h2><p class="caution">This form was not loaded before. What is in the outbox is kept.</p><button type="button" class="plain" data-close>Close</button></form>'; }
    const form = dialog.querySelector("form");
    form.dataset.address = address;
    const last = [...form.querySelectorAll('input[name="who"]')].find((f) => f.value === read(WHO, ""));
    if (last) last.checked = true;
    const zone = form.querySelector('[name="entry.zone"]'), site = form.querySelector('[name="entry.id"]');
    if (zone && zone.value === "UTC" && site && !site.value) zone.value = Intl.DateTimeFormat().resolvedOptions().timeZone || "UTC"; /* a new shop lives where its tablet does */
    restore(form);
    fillMinutes(form);
    drawClocks();
    if (refusal) refuse(form, refusal);
    if (!dialog.open) dialog.showModal();
    dialog.scrollTop = 0;
    if (!refusal) (dialog.querySelector("h2") || dialog).focus();
  }
  /* what stood in a field before anybody touched it: an untouched choice is no draft, so the next lot due is offered when the form opens again */
  const planned = (f) => f.dataset.planned || (f.options ? ([...f.options].find((o) => o.defaultSelected) || f.options[0] || {}).value : f.defaultValue) || "";
  function keepDraft() {
    const form = dialog && dialog.querySelector("form[data-key]");
    if (!form) return;
    const kept = {};
    form.querySelectorAll("input[name], select[name]").forEach((f) => {
      if (f.type === "hidden") return;
      if (f.type === "radio" || f.type === "checkbox") { if (f.checked) (kept["=" + f.name] = kept["=" + f.name] || []).push(f.value); }
      else if (f.value !== planned(f)) kept[f.name] = f.value;
    });
    window.slabbookRows.keep(form, kept);
    write(DRAFT + form.dataset.key, kept);
  }
  function restore(form) {
    const kept = form.dataset.key && read(DRAFT + form.dataset.key, null);
    if (!kept) { window.slabbookRows.sync(form); if (form.dataset.key) markPlanned(form); return; }
    window.slabbookRows.restore(form, kept);
    form.querySelectorAll("input[name], select[name]").forEach((f) => {
      if (f.type === "hidden") return;
      if (f.type === "radio" || f.type === "checkbox") { if (f.name !== "who" && ("=" + f.name) in kept) f.checked = kept["=" + f.name].includes(f.value); }
      else if (f.name in kept && (!f.options || [...f.options].some((o) => o.value === kept[f.name]))) { f.value = kept[f.name]; const d = f.closest("details"); if (d && f.value) d.open = true; }
    });
    markPlanned(form);
  }
  function markPlanned(form) {
    if (form.dataset.command === "define" || form.querySelector('[name="amend.origin"]')) return; /* there nothing is read off a scale now */
    form.querySelectorAll("[data-planned]").forEach((f) => { if (f.value === f.dataset.planned && f.inputMode === "decimal") say(form, f.name, "as planned; type what the scale says", "planned"); });
  }
  function say(form, name, text, kind) {
    const place = form.querySelector('[data-for="' + CSS.escape(name) + '"]') || form.querySelector('[data-for="' + CSS.escape(name.split(".")[0]) + '"]');
    if (place) { place.textContent = text; place.className = "said " + (kind || ""); }
    const input = form.querySelector('[name="' + CSS.escape(name) + '"]');
    if (input) input.setAttribute("aria-invalid", kind === "wrong" ? "true" : "false");
    return !!place;
  }
  function check(form) {
    if (!form || !form.dataset.command) return;
    clearTimeout(checkTimer);
    checkTimer = setTimeout(async () => {
      const made = commandOf(form), amend = made.name === "amend" ? "command." : "";
      try {
        const answer = await fetch("/api/v1/commands/check", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ name: made.name, data: made.data }) });
        const got = await answer.json();
        form.querySelectorAll(".said:not(.planned)").forEach((p) => { p.textContent = ""; p.className = "said"; });
        form.querySelectorAll('[aria-invalid="true"]').forEach((f) => f.setAttribute("aria-invalid", "false"));
        const real = (path) => made.paths[path.startsWith(amend) ? path.slice(amend.length) : path] || path;
        (got.problems || []).forEach((p) => { if (p.message !== "is missing") say(form, real(p.field), forPage(p.message), "wrong"); });
        Object.entries(got.reads || {}).forEach(([path, text]) => {
          const name = real(path), input = form.querySelector('[name="' + CSS.escape(name) + '"]');
          if (input && input.value.trim() && input.value !== input.dataset.planned) say(form, name, "= " + text, "understood");
        });
      } catch (e) { /* no connection: the figures are checked when the command arrives */ }
    }, 350);
  }
  /* a message names the way out as a command; here it is a button (the same as dashboard/components/ways.py does for pages) */
  function forPage(text) {
    if (!text.includes("`slabbook ")) return text;
    const ways = JSON.parse((el("outbox") || { dataset: {} }).dataset.ways || "{}"), quoted = "`slabbook ([a-z-]+)[^`]*`";
    const button = (word) => { const [b, p] = ways[word] || ["", ""]; return !p ? (word === "import" ? "the import" : "the check") + " at the computer" : b ? b + " on the " + p + " page" : "the " + p + " page"; };
    const place = (word) => { const [b, p] = ways[word] || ["", ""]; return p && !b ? "on the " + p + " page" : "with " + button(word); };
    return text.replace(new RegExp("\\b(?:with|in) " + quoted + " or (on the \\w+ page)", "g"), "$2").replace(/\bload one with `slabbook book[^`]*`/g, "enter one on the Book page")
      .replace(new RegExp("\\bwith " + quoted, "g"), (_, word) => place(word)).replace(new RegExp(quoted, "g"), (_, word) => button(word));
  }
  function refuse(form, problem) {
    const place = form.querySelector(".refusal");
    if (!place) return;
    place.hidden = false;
    const problems = (problem.problems || []).map((p) => ({ ...p, at: fieldOf(form, p.field) }));
    place.textContent = problems.length && problems.every((p) => p.at) ? inWords(problems) : forPage(problem.detail || problem.title || "This was not recorded.");
    problems.forEach((p) => say(form, p.at ? p.at.name : p.field.replace(/^command\./, ""), p.message === "is missing" ? "fill this in" : forPage(p.message), "wrong"));
    const first = (problems.find((p) => p.at) || {}).at;
    if (first) { const d = first.closest("details"); if (d) d.open = true; first.focus(); }
    place.scrollIntoView({ block: "nearest" });
  }
  /* where a problem's field stands in the form, and what the form calls it */
  function fieldOf(form, path) {
    const bare = path.replace(/^command\./, "").replace(/_(mg|um|mc|ppm|seconds)$/, "");
    return [bare, "entry." + bare, bare.split(".")[0]].map((n) => form.querySelector('input[name="' + CSS.escape(n) + '"]:not([type=hidden]), select[name="' + CSS.escape(n) + '"]')).find((f) => f) || null;
  }
  function labelOf(field) {
    const box = field.closest(".field"), label = box && box.querySelector("label[for], legend");
    return label ? [...label.childNodes].filter((n) => n.nodeType === 3).map((n) => n.nodeValue).join("").trim() : field.name;
  }
  function inWords(problems) {
    const missing = problems.filter((p) => p.message === "is missing").map((p) => labelOf(p.at));
    const lines = missing.length ? ["Still to fill in: " + missing.join(", ") + "."] : [];
    problems.filter((p) => p.message !== "is missing").forEach((p) => lines.push(labelOf(p.at) + ": " + forPage(p.message)));
    return "Nothing was recorded yet. " + lines.join("\n");
  }

  /* --- saving and the outbox ---------------------------------------------------------------------------------- */
  async function submit(form) {
    const made = commandOf(form);
    if (made.noTime) return refuse(form, { detail: "Hands were tapped but no minutes given. Give the minutes, or untap the initials." });
    const order = { name: made.name, data: made.data, command_id: newId(), actor: made.who || made.crew[0] || read(WHO, "") || "", occurred_at: new Date(Date.now() + offset).toISOString() };
    if (order.actor) write(WHO, order.actor);
    const kept = { order, title: form.dataset.title, address: form.dataset.address, key: form.dataset.key, clock: (form.querySelector("[data-clock]") || { dataset: {} }).dataset.clock };
    const button = form.querySelector('button[type="submit"]');
    button.disabled = true;
    const box = read(OUTBOX, []); box.push(kept);
    const safe = write(OUTBOX, box);
    drawOutbox();
    const outcome = await send(kept);
    button.disabled = false;
    if (outcome === "offline") {
      if (!safe) return refuse(form, { detail: "There is no connection and this tablet could not keep the entry. Leave the form open and try again." });
      done(kept); dialog.close(); return;
    }
    if (outcome.refused) { refuse(form, outcome.refused); return; }
    done(kept);
    dialog.close();
    note(outcome.told);
    refreshPage();
  }
  function done(kept) { write(DRAFT + kept.key, null); if (kept.clock) write(CLOCK + kept.clock, null); drawClocks(); }
  function take(id) { write(OUTBOX, read(OUTBOX, []).filter((k) => k.order.command_id !== id)); drawOutbox(); }
  async function send(kept) {
    let answer;
    try { answer = await fetch("/api/v1/commands", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(kept.order) }); }
    catch (e) { drawOutbox(); return "offline"; }
    if (answer.status >= 500 || answer.status === 408 || answer.status === 429) { drawOutbox(); return "offline"; }
    const got = await answer.json().catch(() => ({}));
    take(kept.order.command_id);
    if (!answer.ok) return { refused: got };
    let told = kept.title + ": recorded as entry " + got.first + ".";
    if (!got.first) told = kept.title + ": nothing had changed, nothing was recorded.";
    if (got.batch && kept.order.name === "open-batch") told = "Batch " + got.batch + " is open.";
    if (got.flags && got.flags.length) told += " Look at this: " + got.flags.join(" ");
    return { told };
  }
  async function sendAll() {
    if (sending) return;
    const box = read(OUTBOX, []);
    if (!box.length) return;
    sending = true;
    try {
      for (const kept of box) {
        if (kept.refused || (dialog && dialog.open && dialog.querySelector("button[disabled]"))) continue;
        const outcome = await send(kept);
        if (outcome === "offline") break;
        if (outcome.refused) {
          const left = read(OUTBOX, []); left.push({ ...kept, refused: outcome.refused }); write(OUTBOX, left);
        } else { note(outcome.told); refreshPage(); }
      }
    } finally { sending = false; drawOutbox(); }
  }
  function draftOf(order) { /* a refused entry that was sent later comes back as a draft of its form */
    const flat = {};
    (function walk(value, path) {
      if (value && typeof value === "object") Object.entries(value).forEach(([k, v]) => walk(v, path ? path + "." + k : k));
      else { flat[path] = String(value); flat["=" + path] = [String(value)]; }
    })(order.name === "amend" ? order.data.command : order.data, "");
    const work = (order.data.work || (order.data.command || {}).work || []);
    flat["=crew"] = work.map((w) => w.worker);
    if (work.length) flat.minutes = work[0].time;
    if (order.name === "amend") flat["amend.reason"] = order.data.reason;
    return flat;
  }
  function drawOutbox() {
    const place = el("outbox");
    if (!place) return;
    const box = read(OUTBOX, []), waiting = box.filter((k) => !k.refused), refused = box.filter((k) => k.refused);
    place.replaceChildren();
    if (waiting.length && (!dialog || !dialog.querySelector("button[disabled]"))) {
      const p = document.createElement("p");
      p.className = "waiting";
      p.textContent = waiting.length + (waiting.length === 1 ? " entry waits" : " entries wait") + " on this tablet and will be sent when the connection returns: " + waiting.map((k) => k.title).join("; ");
      place.append(p);
    }
    refused.forEach((k) => {
      const p = document.createElement("p"), again = document.createElement("button"), drop = document.createElement("button");
      p.className = "refused";
      p.textContent = k.title + " was not recorded. " + forPage(k.refused.detail || "") + " ";
      again.textContent = "Open it again"; again.className = "plain";
      again.onclick = () => { write(DRAFT + k.key, draftOf(k.order)); take(k.order.command_id); open(k.address, k.refused, again); };
      drop.textContent = "Drop it"; drop.className = "plain";
      drop.onclick = () => take(k.order.command_id);
      p.append(again, " ", drop);
      place.append(p);
    });
    if (place.dataset.note) { const p = document.createElement("p"); p.className = "told"; p.textContent = place.dataset.note; place.append(p); }
  }
  let noteTimer = 0;
  function note(text) {
    const place = el("outbox");
    if (!place) return;
    place.dataset.note = text; drawOutbox();
    clearTimeout(noteTimer);
    noteTimer = setTimeout(() => { delete place.dataset.note; drawOutbox(); }, 12000);
  }
  function refreshPage() { const button = el("refresh-now"); if (button) button.click(); }

  /* --- clocks ------------------------------------------------------------------------------------------------- */
  function toggleClock(key) { const at = read(CLOCK + key, null); write(CLOCK + key, at ? null : Date.now()); if (at) return Date.now() - at; return 0; }
  function fillMinutes(form) {
    const button = form.querySelector("[data-clock]"), field = form.querySelector('input[name="minutes"]');
    const at = button && read(CLOCK + button.dataset.clock, null);
    if (at && field && !field.value) field.value = String(Math.max(1, Math.round((Date.now() - at) / 60000)));
  }
  function drawClocks() {
    document.querySelectorAll("button[data-clock]").forEach((b) => {
      const at = read(CLOCK + b.dataset.clock, null), text = at ? "Stop the clock: " + minutesText(Date.now() - at) : b.closest("dialog") ? "Start the clock" : "Start clock";
      if (b.textContent !== text) { if (b.firstChild && b.firstChild.nodeType === 3) b.firstChild.nodeValue = text; else b.textContent = text; }
      b.classList.toggle("running", !!at);
    });
  }

  /* --- listening ---------------------------------------------------------------------------------------------- */
  document.addEventListener("click", (e) => {
    const opens = e.target.closest("[data-form]");
    if (opens) { e.preventDefault(); open(opens.dataset.form, null, opens); return; }
    const clock = e.target.closest("[data-clock]");
    if (clock) {
      const ran = toggleClock(clock.dataset.clock), form = clock.closest("form");
      if (form && ran) { const f = form.querySelector('input[name="minutes"]'); f.value = String(Math.max(1, Math.round(ran / 60000))); keepDraft(); }
      drawClocks();
      return;
    }
    if (e.target.closest("#theme")) {
      const root = document.documentElement, next = root.getAttribute("data-mantine-color-scheme") === "dark" ? "light" : "dark";
      root.setAttribute("data-mantine-color-scheme", next);
      localStorage.setItem(THEME, next);
    }
    if (e.target.closest("#print")) window.print();
  });
  document.addEventListener("keydown", (e) => {
    if (e.target.matches("input, select, textarea") || e.target.closest(".ag-root-wrapper") || e.ctrlKey || e.metaKey || e.altKey || (dialog && dialog.open)) return;
    if (e.key === "n") { const b = document.querySelector('[data-form^="open-batch"]'); if (b) { e.preventDefault(); b.click(); } }
    if (/^[1-9]$/.test(e.key)) { const links = document.querySelectorAll("#menu a"); if (links[e.key - 1]) { e.preventDefault(); links[e.key - 1].click(); } }
  });
  async function head() {
    try { const got = await (await fetch("/api/v1/head", { cache: "no-store" })).json(); offset = new Date(got.now).getTime() - Date.now(); sendAll(); } catch (e) { drawOutbox(); }
  }
  function prefetch() { document.querySelectorAll("[data-ahead]").forEach((b) => { if (!cache.has(b.dataset.form)) formHtml(b.dataset.form).catch(() => {}); }); }
  function keepScheme() { /* the component library writes its own idea of the scheme; the person's choice stands */
    const want = localStorage.getItem(THEME) || (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light"), root = document.documentElement;
    if (root.getAttribute("data-mantine-color-scheme") !== want) root.setAttribute("data-mantine-color-scheme", want);
  }
  new MutationObserver(keepScheme).observe(document.documentElement, { attributes: true, attributeFilter: ["data-mantine-color-scheme"] });
  const menu = () => { const here = document.querySelector("#menu .here"), row = here && here.parentElement; if (row && row.scrollWidth > row.clientWidth) row.scrollLeft = here.offsetLeft - row.offsetLeft - (row.clientWidth - here.offsetWidth) / 2; };
  new MutationObserver((seen) => { if (seen.some((x) => x.target.id === "menu" || (x.target.querySelector && x.target.querySelector("#menu")))) menu(); }).observe(document.documentElement, { childList: true, subtree: true });
  window.addEventListener("online", head);
  setInterval(() => { head(); drawClocks(); }, 5000);
  setInterval(() => { drawClocks(); prefetch(); }, 2000);
  head();
  window.slabbook = { commandOf, outbox: () => read(OUTBOX, []) };
})();
