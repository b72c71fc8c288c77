/* Tooling spend: the budget moves freely, the plan shown is always one that was solved: the nearest at or below it.
   Nothing is reckoned here; window.spendPoints holds each solved budget with its finished panel. */
(function () {
  "use strict";
  var points = window.spendPoints;
  var box = document.getElementById("budget");
  var slider = document.getElementById("cash");
  var stands = document.getElementById("stands");
  var panel = document.getElementById("panel");
  var ticks = document.getElementById("ticks");
  if (!points || !points.length || !box || !slider) return;

  var step = Number(box.dataset.step), stated = Number(box.dataset.at), unit = box.dataset.unit;
  var first = points[0].budget, last = points[points.length - 1].budget;
  var shown = stated;

  function say(amount) {
    return Math.round(amount).toLocaleString("en-US") + " " + unit;
  }

  /* On a solved budget when the handle is nearer to it than half a step, else between two. */
  function stand(value) {
    var at = 0;
    for (var i = 0; i < points.length; i++) {
      if (Math.abs(points[i].budget - value) <= step / 2) return { below: i, on: true };
      if (points[i].budget <= value) at = i;
    }
    return { below: at, on: false };
  }

  function word(place, value) {
    var at = points[place.below];
    if (place.on) {
      return "You stand on a solved budget: " + at.words + (place.below === stated ? ", the stated one." : ".");
    }
    return "You stand at " + say(value) + ", between the solved budgets " + at.words + " and " + points[place.below + 1].words +
      ". Shown is what " + at.words + " buys; nothing is claimed for the amounts between.";
  }

  /* The panel as the build escaped it; a parsed document is inert: nothing in it runs. */
  function readPanel(text) {
    return Array.prototype.slice.call(new DOMParser().parseFromString(text, "text/html").body.childNodes);
  }

  function show(value) {
    var place = stand(value);
    var words = word(place, value);
    if (place.below !== shown) {
      shown = place.below;
      panel.replaceChildren.apply(panel, readPanel(points[shown].panel));
    }
    stands.textContent = words;
    slider.setAttribute("aria-valuetext", place.on ? points[place.below].words : say(value) + ", showing " + points[place.below].words);
    return place;
  }

  function writeAddress(value) {
    var place = stand(value);
    var text = place.on && place.below === stated ? "" : "budget=" + Math.round(place.on ? points[place.below].budget : value);
    try {
      history.replaceState(null, "", text ? "?" + text : location.pathname);
    } catch (refused) { /* some browsers refuse this for files: then the address after # carries it */
      location.replace("#?" + text);
    }
  }

  function readAddress() {
    var wanted = new URLSearchParams(location.search || location.hash.replace(/^#\?/, "?")).get("budget");
    var value = wanted === null || wanted === "" ? NaN : Number(wanted);
    return isFinite(value) ? Math.min(Math.max(value, first), last) : points[stated].budget;
  }

  function moveTo(value) {
    slider.value = value;
    show(value);
    writeAddress(value);
  }

  function jump(by) {
    if (by === 0) return moveTo(points[stated].budget);
    var place = stand(Number(slider.value));
    var to = by > 0 ? place.below + 1 : place.on ? place.below - 1 : place.below;
    moveTo(points[Math.min(Math.max(to, 0), points.length - 1)].budget);
  }

  function drawTicks() {
    var width = slider.clientWidth, inset = 8;
    ticks.textContent = "";
    ticks.setAttribute("viewBox", "0 0 " + width + " 12");
    points.forEach(function (point, at) {
      var x = inset + (point.budget - slider.min) / (slider.max - slider.min || 1) * (width - 2 * inset);
      var tick = document.createElementNS(ticks.namespaceURI, "path");
      tick.setAttribute("class", at === stated ? "tick stated" : "tick");
      tick.setAttribute("d", "M" + x.toFixed(1) + " " + (at === stated ? 0 : 2) + "V" + (at === stated ? 12 : 8));
      ticks.appendChild(tick);
    });
  }

  slider.min = Math.floor(first / step) * step; /* on round amounts, so that the handle comes to stand on the points */
  slider.max = Math.ceil(last / step) * step;
  slider.step = step;
  box.hidden = false;
  slider.addEventListener("input", function () { show(Number(slider.value)); });
  slider.addEventListener("change", function () { writeAddress(Number(slider.value)); });
  Array.prototype.forEach.call(box.querySelectorAll("[data-jump]"), function (button) {
    button.addEventListener("click", function () { jump(Number(button.dataset.jump)); });
  });
  addEventListener("resize", drawTicks);
  addEventListener("popstate", function () { var value = readAddress(); slider.value = value; show(value); });
  var start = readAddress();
  slider.value = start;
  show(start);
  drawTicks();
})();
