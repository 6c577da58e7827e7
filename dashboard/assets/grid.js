/* Long tables. The grid's own script is big, so it is fetched when the first grid appears; until then, and where it cannot be fetched, the
   rows stand as a plain table. On paper every grid is a plain table of its rows, as the person sorted and narrowed them. */
(function () {
  "use strict";
  const h = React.createElement;
  let loading = null, real = null, isReady;
  const ready = new Promise((done) => { isReady = done; });

  function load(address) {
    if (!loading) loading = new Promise((done, failed) => {
      const script = document.createElement("script");
      script.src = address;
      script.onload = () => { real = window.dash_ag_grid; window.dash_ag_grid = { ...real, AgGrid: Grid }; done(); isReady(true); };
      script.onerror = () => { loading = null; script.remove(); failed(new Error("the table's script did not arrive")); };
      document.head.append(script);
    });
    return loading;
  }
  const text = (row, col) => { const t = row[col.field + "~"], v = t === undefined ? row[col.field] : t; return v === null || v === undefined ? "" : Array.isArray(v) ? "" : String(v); };
  const number = (col) => (col.type === "numericColumn" ? "number" : "");
  function Plain({ columns, rows, more }) {
    const seen = columns.filter((c) => c.cellRenderer !== "SlabButtons");
    return h("div", { className: "scroll" }, h("table", null,
      h("thead", null, h("tr", null, seen.map((c) => h("th", { key: c.field, scope: "col", className: number(c) }, c.headerName)))),
      h("tbody", null, rows.map((r, i) => h("tr", { key: i }, seen.map((c) => h("td", { key: c.field, className: number(c) }, text(r, c))))))),
      more ? h("p", { className: "quiet" }, more) : null);
  }
  /* A live update draws the page anew. What a person had sorted, narrowed and was typing is handed to the grid that comes in its place. */
  const kept = {};
  function Grid(props) {
    const told = (props.dashGridOptions || {}).context || {}, name = told.name || "", before = kept[name];
    const fresh = React.useRef(before && (!before.left || Date.now() - before.left < 2000) ? before : { find: "", state: null, focus: null }).current;
    const [state, set] = React.useState(real ? "here" : "coming"), [sought, seek] = React.useState(fresh.find), box = React.useRef(null);
    React.useEffect(() => { if (!real) load(told.script).then(() => set("here"), () => set("missing")); }, []);
    React.useLayoutEffect(() => {
      if (fresh.focus && box.current) { box.current.focus(); box.current.setSelectionRange(...fresh.focus); }
      kept[name] = { find: fresh.find, state: fresh.state, focus: null, left: 0 };
      return () => {
        const at = box.current && document.activeElement === box.current ? [box.current.selectionStart, box.current.selectionEnd] : null;
        Object.assign(kept[name], { focus: at, left: Date.now() });
      };
    }, []);
    React.useEffect(() => { /* told to the grid itself: while it is being set up it does not listen to its options */
      if (state !== "here") return undefined;
      let timer = 0, tries = 0;
      const id = typeof props.id === "string" ? props.id : JSON.stringify(props.id, Object.keys(props.id).sort());
      const put = () => {
        let api = null;
        try { api = real.getApi(id); } catch (e) { /* not there yet */ }
        if (api) api.setGridOption("quickFilterText", sought);
        if ((!api && tries++ < 100) || (api && tries++ < 3)) timer = setTimeout(put, 150);
      };
      put();
      return () => clearTimeout(timer);
    }, [sought, state]);
    const options = React.useMemo(() => ({ ...props.dashGridOptions, quickFilterText: fresh.find, ...(fresh.state ? { initialState: fresh.state } : {}) }), [props.dashGridOptions]);
    const rows = props.rowData || [], columns = props.columnDefs || [];
    if (state !== "here") return h(Plain, { columns, rows: rows.slice(0, 25), more: state === "missing" ? "The sortable table could not be fetched. Refresh when the connection is back." : "" });
    const find = told.find ? h("label", { className: "grid-find" }, h("span", null, "Find in this table"),
      h("input", { type: "search", value: sought, ref: box, onChange: (e) => { seek(e.target.value); kept[name].find = e.target.value; }, autoComplete: "off" })) : null;
    return h(React.Fragment, null, find, h(real.AgGrid, { ...props, dashGridOptions: options, eventListeners: { stateUpdated: ["slabState(params)"], ...props.eventListeners } }));
  }
  Grid.dashRenderType = true;
  Object.defineProperty(Grid, "_dashprivate_isLazyComponentReady", { get: () => (real ? true : ready) });
  window.dash_ag_grid = { AgGrid: Grid };

  /* --- what a cell shows and does ------------------------------------------------------------------------------ */
  const filled = (address, row) => address.replace(/\{([^}]+)\}/g, (_, name) => encodeURIComponent(row[name] === undefined ? "" : row[name]));
  const functions = (window.dashAgGridFunctions = window.dashAgGridFunctions || {});
  functions.slabState = (p) => {
    const at = kept[(p.context || {}).name];
    if (at) at.state = { filter: p.state.filter, sort: p.state.sort, pagination: p.state.pagination, columnSizing: p.state.columnSizing };
  };
  functions.slabText = (p) => { const t = p.data && p.data[p.colDef.field + "~"]; return t === undefined ? p.value : t; };
  functions.slabTab = (p) => { /* Tab goes through the links and buttons of a cell before it leaves it */
    const e = p.event;
    if (e.type !== "keydown" || (e.key !== "Tab" && e.key !== "Enter" && e.key !== " ")) return false;
    const cell = e.target.closest(".ag-cell"), inside = cell ? [...cell.querySelectorAll("a, button")] : [];
    const at = inside.indexOf(document.activeElement);
    if (e.key !== "Tab") return at >= 0;
    return e.shiftKey ? at > 0 : inside.length > 0 && at < inside.length - 1;
  };
  const components = (window.dashAgGridComponentFunctions = window.dashAgGridComponentFunctions || {});
  components.SlabLink = (p) => {
    const shown = p.valueFormatted === null || p.valueFormatted === undefined ? p.value : p.valueFormatted;
    return p.value ? h(window.dash_core_components.Link, { href: filled(p.href, p.data), children: String(shown) }) : null;
  };
  components.SlabButtons = (p) => h("span", { className: "do" }, (p.value || []).map((key) => {
    const [word, form] = p.buttons[key], about = word + ", " + (p.data[p.about] || "");
    if (form.startsWith("/")) return h("a", { key, className: "plain", href: filled(form, p.data), "aria-label": about }, word); /* a page of its own */
    return h("button", { key, type: "button", className: "plain", "data-form": filled(form, p.data), "aria-label": about }, word);
  }));

  /* --- paper --------------------------------------------------------------------------------------------------- */
  window.addEventListener("beforeprint", () => {
    document.querySelectorAll("figure .grid").forEach((place) => {
      const root = place.querySelector(".ag-root-wrapper"), box = root && root.closest("[id]");
      if (!box) return;
      let api;
      try { api = window.dash_ag_grid.getApi(box.id); } catch (e) { return; }
      const columns = api.getAllDisplayedColumns().map((c) => c.getColDef()).filter((c) => c.cellRenderer !== "SlabButtons");
      const table = document.createElement("table"), cell = (row, kind, words, right) => { const c = row.appendChild(document.createElement(kind)); c.textContent = words; if (right) c.className = "number"; };
      table.className = "on-paper";
      const head = table.createTHead().insertRow(), body = table.createTBody();
      columns.forEach((c) => cell(head, "th", c.headerName, number(c)));
      api.forEachNodeAfterFilterAndSort((node) => { const row = body.insertRow(); columns.forEach((c) => cell(row, "td", text(node.data, c), number(c))); });
      place.append(table);
    });
  });
  window.addEventListener("afterprint", () => document.querySelectorAll("table.on-paper").forEach((t) => t.remove()));
})();
