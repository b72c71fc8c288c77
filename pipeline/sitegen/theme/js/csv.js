/* Every table that has no file of its own yet, and is in no file of the page (data-file), can be saved as CSV, as it stands on the page: RFC 4180, and no cell that a
   spreadsheet would reckon with. tableCsv.render(table) gives the text. */
(function () {
  "use strict";
  var NUMBER = /^[+-]?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?$/;
  var FORMULA = /^[ \n]*[=+\-@\t\r＝＋－＠]/;

  /* The same rule as in the files that the site is built with: a number stays one, what could be a formula gets an apostrophe. */
  function guard(text) {
    var plain = text.replace(/\u2212/g, "-").replace(/,/g, "");
    if (NUMBER.test(plain)) return plain;
    return FORMULA.test(text) ? "'" + text : text;
  }

  function quote(text) {
    var cell = guard(text);
    return /[",\r\n]/.test(cell) ? "\"" + cell.replace(/"/g, "\"\"") + "\"" : cell;
  }

  /* The words of a cell: a drawing by its description, a unit in brackets, no working. */
  function read(cell, isHead) {
    var copy = cell.cloneNode(true);
    copy.querySelectorAll("svg").forEach(function (it) { it.replaceWith(" " + (it.getAttribute("aria-label") || "") + " "); });
    copy.querySelectorAll("details.working").forEach(function (it) { it.remove(); });
    copy.querySelectorAll("small").forEach(function (it) { it.replaceWith(isHead ? " (" + it.textContent.trim() + ")" : " " + it.textContent); });
    copy.querySelectorAll(".why, .reason").forEach(function (it) { it.prepend(" "); });
    return copy.textContent.replace(/\s+/g, " ").trim();
  }

  function render(table) {
    return Array.from(table.rows, function (row) {
      var line = [];
      Array.from(row.cells).forEach(function (cell) {
        line.push(quote(read(cell, row.parentElement.tagName === "THEAD")));
        for (var more = 1; more < cell.colSpan; more++) line.push("");
      });
      return line.join(",") + "\r\n";
    }).join("");
  }

  function findName(table) {
    var page = location.pathname.split("/").pop().replace(/\.html$/, "") || "page";
    var words = table.caption ? table.caption.textContent : "table";
    return (page + " " + words).replace(/[^\p{L}\p{N}]+/gu, "-").replace(/^-|-$/g, "").slice(0, 80) + ".csv";
  }

  function save(table) {
    var link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([render(table)], { type: "text/csv;charset=utf-8" }));
    link.download = findName(table);
    link.click();
    setTimeout(function () { URL.revokeObjectURL(link.href); }, 10000);
  }

  /* True when a link to a file of this table follows it, before anything else begins. */
  function hasFile(table) {
    for (var next = table.nextElementSibling; next && /^(P|BUTTON)$/.test(next.tagName); next = next.nextElementSibling) {
      if (next.matches(".tablefoot")) return true;
    }
    return false;
  }

  function offer(table) {
    var last = table.closest(".area") || table;
    if (!table.tBodies.length || table.dataset.file || hasFile(last)) return;
    var foot = document.createElement("p");
    var button = document.createElement("button");
    foot.className = "tablefoot made";
    button.type = "button";
    button.className = "likelink";
    button.textContent = "This table as CSV";
    if (table.caption) button.setAttribute("aria-label", "This table as CSV: " + table.caption.textContent);
    button.addEventListener("click", function () { save(table); });
    foot.appendChild(button);
    last.after(foot);
  }

  window.tableCsv = { render: render };
  addEventListener("DOMContentLoaded", function () { document.querySelectorAll("main table").forEach(offer); });
})();
