/* Long tables: a search in all words of a row, and a choice for each column that the table names. Nothing is lost without
   it. What is searched, chosen and sorted lives in the address, so that it can be sent to a colleague: q, sort (- in front:
   down), and the head of each column that is chosen from; a second such table of a page has "2." in front of each. */
(function () {
  "use strict";

  function text(cell) { return cell.textContent.trim(); }

  /* The word of a column in the address: its head without the unit. */
  function nameColumn(head) {
    var copy = head.cloneNode(true);
    copy.querySelectorAll("small").forEach(function (it) { it.remove(); });
    return text(copy).toLowerCase().replace(/[^a-z0-9]+/g, "-");
  }

  function readWanted() {
    return new URLSearchParams(location.search || (/^#\?/.test(location.hash) ? location.hash.slice(1) : ""));
  }

  /* Writes one table's own words and leaves those of others, and the place that the address leads to, as they are. */
  function writeWanted(own) {
    var wanted = readWanted();
    Object.keys(own).forEach(function (key) {
      wanted.delete(key);
      if (own[key]) wanted.append(key, own[key]);
    });
    var query = wanted.toString();
    var place = /^#\?/.test(location.hash) ? "" : location.hash;
    try {
      history.replaceState(null, "", location.pathname + (query ? "?" + query : "") + place);
    } catch (refused) { /* some browsers refuse this for files: then the address after # carries it */
      location.replace("#?" + query);
    }
  }

  function makeChoice(rows, at, label) {
    var name = document.createElement("span");
    name.textContent = label;
    var select = document.createElement("select");
    var values = Array.from(new Set(rows.map(function (row) { return text(row.cells[at]); })));
    values.sort(function (a, b) { return a.localeCompare(b, undefined, { numeric: true }); });
    select.add(new Option("all", ""));
    values.forEach(function (value) { select.add(new Option(value, value)); });
    var whole = document.createElement("label");
    whole.append(name, select);
    return { label: whole, select: select, at: at };
  }

  function makeFilter(table, order) {
    var before = order ? order + 1 + "." : "";
    var rows = Array.from(table.tBodies[0].rows);
    var heads = Array.from(table.tHead.rows[0].cells);
    var names = heads.map(nameColumn);
    var words = rows.map(function (row) { return row.textContent.toLocaleLowerCase(); });
    var form = document.createElement("form");
    form.className = "filters narrow";
    form.setAttribute("role", "search");
    form.setAttribute("aria-label", "Narrow the table: " + table.caption.textContent);
    var label = document.createElement("label");
    label.className = "query";
    var name = document.createElement("span");
    name.textContent = "words in a row";
    var query = document.createElement("input");
    query.type = "search";
    query.autocomplete = "off";
    label.append(name, query);
    form.append(label);
    var choices = table.dataset.filter.split(" ").map(function (at) { return makeChoice(rows, Number(at), text(heads[at])); });
    choices.forEach(function (choice) { form.append(choice.label); });
    var count = document.createElement("p");
    count.className = "found";
    count.setAttribute("role", "status");

    function show() {
      var wanted = query.value.toLocaleLowerCase().split(/\s+/).filter(Boolean);
      var shown = 0;
      rows.forEach(function (row, n) {
        var fits = wanted.every(function (word) { return words[n].includes(word); }) && choices.every(function (choice) {
          return !choice.select.value || text(row.cells[choice.at]) === choice.select.value;
        });
        row.hidden = !fits;
        shown += fits ? 1 : 0;
      });
      choices.forEach(function (choice) { choice.label.classList.toggle("on", Boolean(choice.select.value)); });
      label.classList.toggle("on", wanted.length > 0);
      count.textContent = shown === rows.length ? "all " + shown + " rows" : shown + " of " + rows.length + " rows";
    }

    function keep() {
      var own = {};
      var sorted = heads.findIndex(function (head) { return head.hasAttribute("aria-sort"); });
      own[before + "q"] = query.value.trim();
      choices.forEach(function (choice) { own[before + names[choice.at]] = choice.select.value; });
      own[before + "sort"] = sorted < 0 ? "" : (heads[sorted].getAttribute("aria-sort") === "descending" ? "-" : "") + names[sorted];
      writeWanted(own);
    }

    /* A value that no row has, or a column that is not sorted by, is left alone. */
    function take() {
      var wanted = readWanted();
      query.value = wanted.get(before + "q") || "";
      choices.forEach(function (choice) {
        choice.select.value = wanted.get(before + names[choice.at]) || "";
        if (choice.select.selectedIndex < 0) choice.select.value = "";
      });
      var sort = wanted.get(before + "sort") || "";
      var head = heads[names.indexOf(sort.replace(/^-/, ""))];
      if (head && head.dataset.by) window.siteTables.sort(table, head, sort.charAt(0) === "-");
      show();
    }

    form.addEventListener("input", function () { show(); keep(); });
    form.addEventListener("submit", function (event) { event.preventDefault(); });
    table.addEventListener("sorted", keep);
    addEventListener("popstate", take);
    var area = table.closest(".area");
    area.before(form, count);
    take();
  }

  document.querySelectorAll("table[data-filter]").forEach(makeFilter);
})();
