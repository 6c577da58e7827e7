/* Rows of a form that can be brought out and taken out again, and the lists that offer the portions the form names. */
(function () {
  "use strict";
  const spare = (row) => row.hasAttribute("data-spare");
  const out = (row) => row.hidden || row.dataset.out === "1";

  function skipped(form) { return [...form.querySelectorAll("[data-row]")].filter(out).map((row) => row.dataset.row + "."); }

  /* The names of the portions as they stand now, offered where something "went into" one; what was chosen follows its row when it is renamed. */
  function sync(form) {
    const lists = form.querySelectorAll("select[data-into]");
    if (!lists.length) return;
    const names = [...form.querySelectorAll('[data-row^="gives."]')].filter((row) => !out(row)).map((row) => {
      const f = row.querySelector('[name$=".portion"]');
      return { row: row.dataset.row, name: f ? f.value.trim() : "" };
    }).filter((x) => x.name);
    lists.forEach((list) => {
      const chosen = list.selectedOptions[0], of = chosen && chosen.dataset.of, value = list.value, none = list.options[0];
      const known = names.find((x) => x.row === of) || names.find((x) => x.name === value);
      const made = names.map((x) => { const o = new Option(x.name, x.name); o.dataset.of = x.row; return o; });
      list.replaceChildren(none, ...made);
      list.value = known ? known.name : "";
    });
  }
  function takeOut(row, gone) {
    if (spare(row)) {
      if (gone) row.querySelectorAll("input:not([type=hidden]), select").forEach((f) => { f.value = ""; });
      row.hidden = gone;
      return;
    }
    row.dataset.out = gone ? "1" : "";
    row.classList.toggle("taken-out", gone);
    row.querySelectorAll("input, select").forEach((f) => { f.disabled = gone; });
    const button = row.querySelector("[data-remove]");
    if (button) button.textContent = gone ? "Put back" : "Take out";
  }
  function keep(form, kept) {
    form.querySelectorAll("[data-row]").forEach((row) => {
      if (row.dataset.out === "1") kept["-" + row.dataset.row] = true;
      if (spare(row) && !row.hidden) kept["+" + row.dataset.row] = true;
    });
  }
  function restore(form, kept) {
    form.querySelectorAll("[data-row]").forEach((row) => {
      const path = row.dataset.row + ".", said = Object.keys(kept).some((k) => k.startsWith(path) && kept[k]);
      if (kept["-" + row.dataset.row]) takeOut(row, true);
      if (spare(row) && (said || kept["+" + row.dataset.row])) row.hidden = false;
    });
    form.querySelectorAll('input[name$=".portion"]').forEach((f) => { if (f.name in kept && f.type !== "hidden") f.value = kept[f.name]; });
    sync(form);
  }
  document.addEventListener("click", (e) => {
    const add = e.target.closest("[data-add]"), remove = e.target.closest("[data-remove]"), button = add || remove;
    if (!button) return;
    const form = button.form;
    if (add) {
      const row = add.closest(".rows").querySelector("[data-spare][hidden]");
      if (!row) return;
      row.hidden = false;
      add.hidden = !add.closest(".rows").querySelector("[data-spare][hidden]");
      const first = row.querySelector("input:not([type=hidden]), select");
      if (first) first.focus();
    } else {
      const row = remove.closest("[data-row]"), rows = row.closest(".rows"), more = rows && rows.querySelector("[data-add]");
      takeOut(row, !out(row));
      if (more) more.hidden = false;
      if (row.hidden && more) more.focus();
    }
    sync(form);
    form.dispatchEvent(new Event("input", { bubbles: true }));
  });
  document.addEventListener("input", (e) => { if (e.target.name && e.target.name.endsWith(".portion") && e.target.form) sync(e.target.form); });
  window.slabbookRows = { skipped, keep, restore, sync };
})();
