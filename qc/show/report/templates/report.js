// The report's page: the list of all frames, one open frame, plots, keys. Needs nothing but the files beside it.
"use strict";

const framegauge = (() => {
  const $ = (selector, within = document) => within.querySelector(selector);
  const $$ = (selector, within = document) => [...within.querySelectorAll(selector)];
  const dialog = $("#frame"), content = $("#frame .content"), body = $("#frames tbody"), filter = $("form.filter");
  const rows = $$("tr", body), byMark = new Map(rows.map((row) => [row.dataset.mark, row]));
  const pages = new Map();
  let open = null, part = "";

  // one frame

  function show(mark, wanted = part) {
    if (!byMark.has(mark)) return;
    open = mark;
    part = wanted;
    if (!dialog.open) dialog.showModal();
    if (pages.has(mark)) return fill();
    const script = document.createElement("script");
    script.src = `frames/${mark}.js`;
    script.onerror = () => arrived(mark, "<p class='quiet'>The file of this frame is not beside the page.</p>");
    document.head.append(script);
  }

  function arrived(mark, page) {
    pages.set(mark, page);
    if (mark === open) fill();
  }

  function fill() {
    content.innerHTML = pages.get(open);
    content.scrollTop = 0;
    dialog.dataset.mark = open;
    const drawings = $$("figure", content);
    draw(Math.max(0, drawings.findIndex((figure) => figure.dataset.part === part)));
  }

  function draw(number) {
    const drawings = $$(".drawing", content);
    drawings.forEach((drawing, at) => { drawing.hidden = at !== number; });
    $$("[data-draw]", content).forEach((button, at) => button.setAttribute("aria-pressed", at === number));
  }

  function choose(number) {
    const figures = $$("figure", content);
    if (!figures.length) return;
    draw(number % figures.length);
    part = figures[number % figures.length].dataset.part;
  }

  const drawn = () => $$(".drawing", content).findIndex((drawing) => !drawing.hidden);

  function go(mark, wanted) {
    const place = `#${byMark.get(mark)?.id}`;
    history[dialog.open ? "replaceState" : "pushState"](null, "", place);
    show(mark, wanted);
  }

  function follow() {  // what the address says, also after going back
    const row = location.hash.startsWith("#frame=") && document.getElementById(location.hash.slice(1));
    if (row) show(row.dataset.mark);
    else if (dialog.open) dialog.close();
  }

  // the frames in the order of the list, as it is filtered and sorted

  const listed = () => $$("tr", body).filter((row) => !row.hidden);
  const toDecide = (row) => ["halt", "warn"].includes(row.dataset.level);

  function step(by, wanted = () => true) {
    const all = listed(), here = all.findIndex((row) => row.dataset.mark === open);
    for (let far = 1; far <= all.length; far += 1) {
      const at = here < 0 ? (by > 0 ? far - 1 : all.length - far) : here + by * far;
      const row = wanted === toDecide ? all[(at + all.length) % all.length] : all[at];
      if (row && wanted(row)) return go(row.dataset.mark);
    }
    return undefined;
  }

  function sift() {
    const words = filter.words.value.toLowerCase().split(/\s+/).filter(Boolean);
    const level = filter.level.value, set = filter.set?.value;
    for (const row of rows) {
      row.words ??= row.textContent.toLowerCase();
      row.hidden = !(words.every((word) => row.words.includes(word))
        && (!level || (level === "decide" ? toDecide(row) : row.dataset.level === level))
        && (!set || row.cells[3].textContent === set));
    }
    const count = listed().length;
    $("output", filter).textContent = count === rows.length ? `${count} frames` : `${count} of ${rows.length} frames`;
  }

  function sort(head) {
    const at = head.cellIndex, down = head.getAttribute("aria-sort") === "ascending";
    const first = head.classList.contains("number") || head.dataset.sort === "level";
    const falling = head.hasAttribute("aria-sort") ? down : first;  // numbers: largest first
    $$("th[aria-sort]", head.parentNode).forEach((other) => other.removeAttribute("aria-sort"));
    head.setAttribute("aria-sort", falling ? "descending" : "ascending");
    const value = (row) => row.cells[at].dataset.v ?? (first ? "" : row.cells[at].textContent);
    const order = (a, b) => {
      const [one, other] = [value(a), value(b)];
      if (one === "" || other === "") return (one === "") - (other === "");  // without a number: last, both ways
      const less = first ? one - other : one.localeCompare(other, undefined, { numeric: true });
      return falling ? -less : less;
    };
    body.append(...[...rows].sort(order));  // what is equal stays in the order taken
  }

  // plots

  function plot() {
    const figures = JSON.parse($("#figures").textContent), config = { displayModeBar: false, responsive: true };
    for (const figure of figures) {
      const place = document.getElementById(`plot-${figure.key}`);
      Plotly.newPlot(place, figure.data, figure.layout, config);
      place.on("plotly_click", (event) => go(event.points[0].customdata));
    }
  }

  const paper = 680;  // pixels of a plot on paper: A4 and letter less their margins

  function fit(width) {
    for (const place of $$(".js-plotly-plot")) {
      Plotly.relayout(place, width ? { width, height: 115 } : { width: null, height: 190, autosize: true });
    }
  }

  function fetchPlots() {
    if (!$(".chart")) return;
    const script = document.createElement("script");
    script.src = "plotly.min.js";
    script.onload = plot;
    script.onerror = () => $$(".chart").forEach((place) => { place.textContent = "plotly.min.js is not beside this page."; });
    document.head.append(script);
  }

  // keys and clicks

  const jump = (place) => { if (dialog.open) dialog.close(); $(place).scrollIntoView(); };
  const keys = {
    d: () => jump("#decide"),
    o: () => jump("#over-time"),
    a: () => jump("#all"),
    "/": () => { jump("#all"); filter.words.focus(); },
    n: () => step(1),
    b: () => step(-1),
    w: () => step(1, toDecide),
    m: () => choose(drawn() + 1),
    p: () => choose(0),
    Escape: () => dialog.close(),
  };

  document.addEventListener("keydown", (event) => {
    const typing = event.target.closest("input, select, textarea");
    if (event.ctrlKey || event.metaKey || event.altKey || typing || event.key === "Escape") return;
    if (!Object.hasOwn(keys, event.key)) return;
    event.preventDefault();
    keys[event.key]();
  });

  document.addEventListener("click", (event) => {
    const link = event.target.closest("[data-frame]"), head = event.target.closest("th[data-sort]");
    const plain = !(event.ctrlKey || event.metaKey || event.shiftKey);
    if (link && plain) { event.preventDefault(); go(link.dataset.frame, link.dataset.part); }
    if (head) sort(head);
    if (event.target.dataset?.draw) choose(Number(event.target.dataset.draw));
    const doing = event.target.closest("[data-do]");
    if (doing) keys[doing.dataset.do]();
    if (event.target === dialog) dialog.close();
  });

  filter.addEventListener("input", sift);
  filter.addEventListener("submit", (event) => event.preventDefault());
  dialog.addEventListener("close", () => {
    if (location.hash.startsWith("#frame=")) history.replaceState(null, "", location.pathname + location.search);
  });
  addEventListener("popstate", follow);
  addEventListener("hashchange", follow);
  addEventListener("load", fetchPlots);
  addEventListener("beforeprint", () => fit(paper));
  addEventListener("afterprint", () => fit(0));
  follow();
  sift();

  return { arrived };
})();
