/* A changed feature lights what it would make stale. Without a script the table under the drawing says the same. */
(function () {
  "use strict";
  document.querySelectorAll(".lineage").forEach(function (drawing) {
    var buttons = drawing.querySelectorAll(".asks button");
    var output = drawing.querySelector(".asks output");
    if (!buttons.length) return;

    function light(stale) {
      drawing.classList.toggle("asking", stale.size > 0);
      drawing.querySelectorAll("[data-node]").forEach(function (node) { node.classList.toggle("lit", stale.has(node.dataset.node)); });
      drawing.querySelectorAll(".edge").forEach(function (edge) { edge.classList.toggle("lit", stale.has(edge.dataset.to)); });
    }

    buttons.forEach(function (button) {
      button.addEventListener("click", function () {
        var on = button.getAttribute("aria-pressed") !== "true";
        buttons.forEach(function (it) { it.setAttribute("aria-pressed", String(on && it === button)); });
        light(new Set(on ? button.dataset.stale.split(" ").filter(Boolean) : []));
        output.textContent = on ? button.textContent + " changes: " + button.dataset.words : "";
      });
    });
  });
})();
