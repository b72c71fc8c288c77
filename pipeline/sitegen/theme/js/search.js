/* Full-text search over the fields of the data file, forgiving a wrong letter or two. No dependency, nothing fetched.
   partSearch.build(index) -> finder;  finder(query) -> null (no query) or Map(row -> {score, hits: [[field, word, asked]]}). */
(function () {
  "use strict";

  function fold(text) {
    return text.normalize("NFD").replace(/[\u0300-\u036f]/g, "").toLowerCase();
  }

  /* "AB-101 rim" -> ab, 101, ab101, rim: a part number is found with and without its dash. */
  function splitWords(text) {
    var words = [];
    fold(text).split(/[^\p{L}\p{N}\-./]+/u).forEach(function (chunk) {
      var parts = chunk.split(/[-./]+/).filter(Boolean);
      parts.forEach(function (part) { words.push(part); });
      if (parts.length > 1 && /\d/.test(chunk)) words.push(parts.join(""));
    });
    return words;
  }

  /* What was asked: a number stays whole, other words are split. */
  function splitQuery(text) {
    var terms = [];
    fold(text).split(/[^\p{L}\p{N}\-./]+/u).forEach(function (chunk) {
      var parts = chunk.split(/[-./]+/).filter(Boolean);
      if (/\d/.test(chunk)) parts = [parts.join("")];
      terms = terms.concat(parts);
    });
    return terms.filter(Boolean);
  }

  /* Edit distance with swapped neighbours counted once (optimal string alignment); gives up above the limit. */
  function distance(a, b, limit) {
    if (Math.abs(a.length - b.length) > limit) return limit + 1;
    var before = [], last = [], row = [], i, j;
    for (j = 0; j <= b.length; j++) last[j] = j;
    for (i = 1; i <= a.length; i++) {
      row = [i];
      var best = i;
      for (j = 1; j <= b.length; j++) {
        var cost = a[i - 1] === b[j - 1] ? 0 : 1;
        var value = Math.min(last[j] + 1, row[j - 1] + 1, last[j - 1] + cost);
        if (i > 1 && j > 1 && a[i - 1] === b[j - 2] && a[i - 2] === b[j - 1]) value = Math.min(value, before[j - 2] + 1);
        row[j] = value;
        if (value < best) best = value;
      }
      if (best > limit) return limit + 1;
      before = last;
      last = row;
    }
    return Math.min(last[b.length], limit + 1);
  }

  function allowedErrors(term) {
    if (/^\d+$/.test(term) || term.length < 4) return 0;
    return term.length < 8 ? 1 : 2;
  }

  function build(index) {
    var places = new Map();
    index.rows.forEach(function (row, at) {
      row[0].forEach(function (text, field) {
        new Set(splitWords(text)).forEach(function (word) {
          var list = places.get(word);
          if (!list) places.set(word, (list = []));
          list.push(at, field);
        });
      });
    });
    var vocabulary = Array.from(places.keys());
    var remembered = new Map();

    /* The words of the records that a term may mean, with how well each answers: whole 8, start 5, inside 3, misspelt 2 or 1. */
    function wordsFor(term) {
      var found = [];
      vocabulary.forEach(function (word) {
        if (word === term) found.push([word, 8]);
        else if (word.startsWith(term)) found.push([word, 5]);
        else if (term.length > 2 && word.includes(term)) found.push([word, 3]);
      });
      var limit = allowedErrors(term);
      if (!found.length && limit) {
        vocabulary.forEach(function (word) {
          var off = distance(term, word, limit);
          if (off <= limit) found.push([word, 3 - off]);
          else if (word.length > term.length && distance(term, word.slice(0, term.length), 1) <= 1) found.push([word, 1]);
        });
      }
      return found;
    }

    function rowsFor(term) {
      if (remembered.has(term)) return remembered.get(term);
      var rows = new Map();
      wordsFor(term).forEach(function (pair) {
        var list = places.get(pair[0]);
        for (var i = 0; i < list.length; i += 2) {
          var score = pair[1] * (list[i + 1] === 0 ? 4 : list[i + 1] === 1 ? 3 : 1);
          var old = rows.get(list[i]);
          if (!old || score > old[0]) rows.set(list[i], [score, list[i + 1], pair[0], term]);
        }
      });
      if (remembered.size > 200) remembered.clear();
      remembered.set(term, rows);
      return rows;
    }

    return function find(query) {
      var terms = splitQuery(query);
      if (!terms.length) return null;
      var lists = terms.map(rowsFor).sort(function (a, b) { return a.size - b.size; });
      var result = new Map();
      lists[0].forEach(function (_, at) {
        var score = 0, hits = [];
        for (var i = 0; i < lists.length; i++) {
          var hit = lists[i].get(at);
          if (!hit) return;
          score += hit[0];
          hits.push(hit.slice(1));
        }
        result.set(at, { score: score, hits: hits });
      });
      return result;
    };
  }

  window.partSearch = { build: build, distance: distance, splitWords: splitWords };
})();
