/* The list of parts: filter, sort, search; the state lives in the address so that it can be sent to a colleague.
   Rows are the ones the page came with: those that match are put back, forty at first, the rest wait outside the document. */
(function () {
  "use strict";
  var index = window.partsIndex;
  var table = document.getElementById("parts");
  var form = document.getElementById("filters");
  if (!index || !table || !form) return;

  var FIRST = 40, STEP = 200;
  var body = table.tBodies[0];
  var rows = Array.prototype.slice.call(body.rows);
  var query = form.elements.q;
  var selects = index.facets.map(function (facet) { return form.elements[facet.key]; });
  /* Columns sort by a key of the data file (data-sort), or by the words that stand in their cells (data-words). */
  var NAMES = index.sorts || ["number", "name", "stage", "age", "stake"];
  var heads = Array.prototype.filter.call(table.tHead.rows[0].cells, function (cell) { return cell.dataset.sort || cell.dataset.words; });
  var columns = heads.map(function (head) {
    if (head.dataset.words) return { name: head.dataset.words, cell: head.cellIndex, keys: null };
    return { name: NAMES[head.dataset.sort], cell: -1, keys: index.rows.map(function (row) { return row[2][head.dataset.sort]; }) };
  });
  var count = document.getElementById("count");
  var none = document.getElementById("none");
  var clear = document.getElementById("clear");
  var more = document.getElementById("more");
  var find = null;
  var state = { sort: -1, down: false };
  var shown = [], placed = 0, answers = null;

  function option(facet, at) {
    var it = document.createElement("option");
    it.value = facet.values[at];
    return it;
  }

  selects.forEach(function (select, f) {
    index.facets[f].values.forEach(function (_, at) { select.appendChild(option(index.facets[f], at)); });
  });

  heads.forEach(function (head, at) {
    var button = document.createElement("button");
    button.type = "button";
    while (head.firstChild) button.appendChild(head.firstChild);
    head.appendChild(button);
    button.addEventListener("click", function () {
      if (state.sort === at && state.down) state.sort = -1;
      else { state.down = state.sort === at ? true : false; state.sort = at; }
      update();
    });
  });

  function readAddress() {
    var wanted = new URLSearchParams(location.search || location.hash.replace(/^#\?/, "?"));
    query.value = wanted.get("q") || "";
    selects.forEach(function (select, f) {
      var value = wanted.get(index.facets[f].key) || "";
      select.value = index.facets[f].values.includes(value) ? value : "";
    });
    var order = /^(-?)(\w+)$/.exec(wanted.get("sort") || "");
    var at = order ? columns.findIndex(function (column) { return column.name === order[2]; }) : -1;
    state.sort = at;
    state.down = at >= 0 && order[1] === "-";
  }

  function writeAddress() {
    var wanted = new URLSearchParams();
    if (query.value.trim()) wanted.set("q", query.value.trim());
    selects.forEach(function (select, f) { if (select.value) wanted.set(index.facets[f].key, select.value); });
    if (state.sort >= 0) wanted.set("sort", (state.down ? "-" : "") + columns[state.sort].name);
    var text = wanted.toString();
    try {
      history.replaceState(null, "", text ? "?" + text : location.pathname);
    } catch (refused) { /* some browsers refuse this for files: then the address after # carries it */
      location.replace("#?" + text);
    }
  }

  /* One pass: which rows pass every filter, and how many would pass if one filter alone were another value. */
  function passRows() {
    var chosen = selects.map(function (select, f) { return select.value ? index.facets[f].values.indexOf(select.value) : -1; });
    var counts = index.facets.map(function (facet) { return new Array(facet.values.length).fill(0); });
    var passed = [];
    index.rows.forEach(function (row, at) {
      if (answers && !answers.has(at)) return;
      var failed = -1, fails = 0, f;
      for (f = 0; f < chosen.length; f++) {
        if (chosen[f] >= 0 && row[1][f].indexOf(chosen[f]) < 0) { failed = f; if (++fails > 1) return; }
      }
      if (fails === 0) passed.push(at);
      for (f = 0; f < chosen.length; f++) {
        if (fails === 0 || f === failed) row[1][f].forEach(function (value) { counts[f][value]++; });
      }
    });
    return { rows: passed, counts: counts };
  }

  /* The place of every row in the order of a column's words, found once: "10 mm" comes after "9 mm". */
  function rankWords(cell) {
    var alphabet = new Intl.Collator(undefined, { numeric: true });
    var words = rows.map(function (row) { return row.cells[cell].textContent; });
    var order = words.map(function (_, at) { return at; }).sort(function (a, b) { return alphabet.compare(words[a], words[b]); });
    var ranks = [], rank = 0;
    order.forEach(function (at, place) {
      if (place && alphabet.compare(words[at], words[order[place - 1]])) rank = place;
      ranks[at] = rank;
    });
    return ranks;
  }

  function findKeys() {
    var column = columns[state.sort];
    if (!column.keys) column.keys = rankWords(column.cell);
    return column.keys;
  }

  function compare(keys, a, b) {
    var x = keys[a], y = keys[b];
    var order = typeof x === "number" ? x - y : x < y ? -1 : x > y ? 1 : 0;
    return (state.down ? -order : order) || a - b;
  }

  function orderRows(list) {
    if (state.sort >= 0) list.sort(compare.bind(null, findKeys()));
    else if (answers) list.sort(function (a, b) { return answers.get(b).score - answers.get(a).score || a - b; });
    return list;
  }

  function showCounts(counts) {
    selects.forEach(function (select, f) {
      var options = select.options;
      for (var at = 0; at < counts[f].length; at++) {
        var it = options[at + 1], n = counts[f][at], text = it.value + " (" + n + ")";
        if (it.textContent !== text) it.textContent = text;
        it.disabled = n === 0 && !it.selected;
      }
      select.parentElement.classList.toggle("on", select.value !== "");
    });
    query.parentElement.classList.toggle("on", query.value.trim() !== "");
  }

  /* What matched and why, under the name: "rim in name; estate in fits, asked as estat". */
  function explain(at) {
    var cell = rows[at].cells[1];
    var old = cell.querySelector(".hit");
    if (old) old.remove();
    if (!answers) return;
    var line = document.createElement("span");
    line.className = "why hit";
    answers.get(at).hits.forEach(function (hit, i) {
      var word = document.createElement("mark");
      word.textContent = hit[1];
      line.append(i ? "; " : "found ", word, " in " + index.fields[hit[0]]);
      if (hit[1].indexOf(hit[2]) < 0) line.append(", for " + hit[2]);
    });
    cell.appendChild(line);
  }

  function place(upTo) {
    var piece = document.createDocumentFragment();
    for (; placed < Math.min(upTo, shown.length); placed++) {
      explain(shown[placed]);
      piece.appendChild(rows[shown[placed]]);
    }
    body.appendChild(piece);
    more.hidden = placed >= shown.length;
    more.firstElementChild.textContent = "Show more (" + (shown.length - placed) + ")";
  }

  function search(words) {
    if (!find) find = window.partSearch.build(index);
    return find(words);
  }

  function draw() {
    answers = query.value.trim() ? search(query.value) : null;
    var passed = passRows();
    shown = orderRows(passed.rows);
    placed = 0;
    body.textContent = "";
    place(FIRST);
    showCounts(passed.counts);
    heads.forEach(function (head, at) {
      if (at === state.sort) head.setAttribute("aria-sort", state.down ? "descending" : "ascending");
      else head.removeAttribute("aria-sort");
    });
    var all = rows.length;
    count.textContent = shown.length === all ? all + " parts" : shown.length + " of " + all + " parts";
    none.hidden = shown.length > 0;
    clear.hidden = shown.length === all && state.sort < 0 && !query.value;
  }

  function update() {
    draw();
    writeAddress();
  }

  function clearAll() {
    form.reset();
    query.value = "";
    selects.forEach(function (select) { select.value = ""; });
    state.sort = -1;
    update();
    query.focus();
  }

  /* Down and up walk the rows from the search field and back. */
  function walk(event) {
    if (event.key === "Escape") {
      if (event.target === query && query.value) { query.value = ""; update(); event.preventDefault(); }
      else if (body.contains(event.target)) query.focus();
      return;
    }
    if (event.key !== "ArrowDown" && event.key !== "ArrowUp") return;
    var row = event.target.closest("#parts tbody tr");
    if (!row && event.target !== query) return;
    var next = event.key === "ArrowDown" ? (row ? row.nextElementSibling : body.rows[0]) : row && row.previousElementSibling;
    event.preventDefault();
    if (next) next.querySelector("a").focus();
    else if (row && event.key === "ArrowUp") query.focus();
  }

  form.addEventListener("submit", function (event) {
    event.preventDefault();
    if (shown.length === 1) location.href = rows[shown[0]].querySelector("a").href;
  });
  query.addEventListener("input", update);
  selects.forEach(function (select) { select.addEventListener("change", update); });
  clear.addEventListener("click", clearAll);
  more.firstElementChild.addEventListener("click", function () { place(placed + STEP); });
  if ("IntersectionObserver" in window) {
    new IntersectionObserver(function (seen) { if (seen[0].isIntersecting) place(placed + STEP); }, { rootMargin: "600px" }).observe(more);
  }
  addEventListener("keydown", walk);
  addEventListener("popstate", function () { readAddress(); draw(); });
  addEventListener("beforeprint", function () { place(shown.length); });
  readAddress();
  draw();
  if (query.value && document.activeElement === document.body) query.focus({ preventScroll: true }); // who searched goes on by keys
  (window.requestIdleCallback || setTimeout)(function () { search(""); });
})();
