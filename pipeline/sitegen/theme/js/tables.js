/* Long tables: a search in all words of a row, and a choice for each column that the table names. Nothing is lost without it. */
(function () {
  "use strict";

  function text(cell) { return cell.textContent.trim(); }

  function makeChoice(table, rows, at) {
    var label = document.createElement("label");
    var name = document.createElement("span");
    name.textContent = text(table.tHead.rows[0].cells[at]);
    var select = document.createElement("select");
    var values = Array.from(new Set(rows.map(function (row) { return text(row.cells[at]); })));
    values.sort(function (a, b) { return a.localeCompare(b, undefined, { numeric: true }); });
    select.add(new Option("all", ""));
    values.forEach(function (value) { select.add(new Option(value, value)); });
    label.append(name, select);
    return { label: label, select: select, at: at };
  }

  function makeFilter(table) {
    var rows = Array.from(table.tBodies[0].rows);
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
    var choices = table.dataset.filter.split(" ").map(function (at) { return makeChoice(table, rows, Number(at)); });
    choices.forEach(function (choice) { form.append(choice.label); });
    var count = document.createElement("p");
    count.className = "found";
    count.setAttribute("role", "status");
    function update() {
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
    form.addEventListener("input", update);
    form.addEventListener("submit", function (event) { event.preventDefault(); });
    var area = table.closest(".area");
    area.before(form, count);
    update();
  }

  document.querySelectorAll("table[data-filter]").forEach(makeFilter);
})();
