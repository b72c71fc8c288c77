/* On every page: mark that scripts run, "/" finds, a link into a fold opens it, printing opens every fold, tables sort. */
(function () {
  "use strict";
  document.documentElement.classList.add("js");

  function openFoldsAround(node) {
    for (var at = node; at; at = at.parentElement) {
      if (at.tagName === "DETAILS") at.open = true;
    }
  }

  function openTarget() {
    var id = decodeURIComponent(location.hash.slice(1));
    var node = id && document.getElementById(id);
    if (!node) return;
    openFoldsAround(node);
    node.scrollIntoView();
  }

  function isTyping(node) {
    return /^(INPUT|SELECT|TEXTAREA)$/.test(node.tagName) || node.isContentEditable;
  }

  function focusSearch(event) {
    if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey || isTyping(event.target)) return;
    var field = document.getElementById("query") || document.getElementById("find");
    if (!field) return;
    event.preventDefault();
    field.focus();
    field.select();
  }

  var closed = [];
  function openForPrint() {
    closed = Array.prototype.filter.call(document.querySelectorAll("details"), function (it) { return !it.open; });
    closed.forEach(function (it) { it.open = true; });
  }
  function closeAfterPrint() {
    closed.forEach(function (it) { it.open = false; });
  }

  var MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

  /* "1,523 (612 to 4,000)" sorts by 1523, "30 Nov 2026" by its day; words sort by the reader's alphabet. */
  function sortKey(row, at, byNumber) {
    var text = row.cells[at].textContent.trim();
    var day = /^(\d{1,2}) ([A-Z][a-z]{2}) (\d{4})$/.exec(text);
    if (day) {
      var stamp = day[3] * 10000 + MONTHS.indexOf(day[2]) * 100 + Number(day[1]);
      return byNumber ? stamp : String(stamp);
    }
    if (!byNumber) return text;
    var found = /-?\d+(\.\d+)?/.exec(text.replace(/(\d),(?=\d)/g, "$1").replace(/\u2212/g, "-"));
    return found ? parseFloat(found[0]) : Infinity;
  }

  function sortTable(table, head, down) {
    var at = head.cellIndex;
    var byNumber = head.dataset.by === "number";
    var body = table.tBodies[0];
    var rows = Array.prototype.map.call(body.rows, function (row) { return [sortKey(row, at, byNumber), row]; });
    rows.sort(function (a, b) {
      var order = byNumber ? a[0] - b[0] || 0 : a[0].localeCompare(b[0], undefined, { numeric: true });
      return down ? -order : order;
    });
    Array.prototype.forEach.call(table.tHead.rows[0].cells, function (cell) { cell.removeAttribute("aria-sort"); });
    head.setAttribute("aria-sort", down ? "descending" : "ascending");
    rows.forEach(function (pair) { body.appendChild(pair[1]); });
  }

  function makeSortable(table) {
    table.querySelectorAll("thead th[data-by]").forEach(function (head) {
      var button = document.createElement("button");
      button.type = "button";
      while (head.firstChild) button.appendChild(head.firstChild);
      head.appendChild(button);
      button.addEventListener("click", function () {
        sortTable(table, head, head.getAttribute("aria-sort") === "ascending");
        table.dispatchEvent(new CustomEvent("sorted"));
      });
    });
  }

  window.siteTables = { sort: sortTable };
  addEventListener("keydown", focusSearch);
  addEventListener("hashchange", openTarget);
  addEventListener("beforeprint", openForPrint);
  addEventListener("afterprint", closeAfterPrint);
  addEventListener("DOMContentLoaded", function () {
    document.querySelectorAll("table[data-sort]").forEach(makeSortable);
    openTarget();
  });
})();
