(function () {
"use strict";
// Sorts and filters what stands in the page; the page is complete without it.
function all(selector, root) {
  return Array.prototype.slice.call((root || document).querySelectorAll(selector));
}
function byId(id) { return document.getElementById(id); }

var text = byId("f-text"), check = byId("f-check"), verdict = byId("f-verdict");
var look = byId("f-look"), shown = byId("shown");
var tables = all("table.many").map(function (table) {
  var body = table.tBodies[0];
  var rows = all("tr", body).map(function (row) {
    return {
      row: row,
      words: row.cells[0].textContent.toLowerCase(),
      look: row.classList.contains("look"),
      cells: Array.prototype.slice.call(row.cells)
    };
  });
  return { body: body, rows: rows, heads: all("thead th", table), section: table.closest("section") };
});

function sortedBy(rows, column, up) {
  var collator = new Intl.Collator(undefined, { numeric: true });
  var keyed = rows.map(function (item, order) {
    var cell = item.cells[column];
    var key = column === 0 ? item.words : parseFloat(cell.getAttribute("data-s"));
    return { item: item, key: key, order: order };
  });
  keyed.sort(function (a, b) {
    var d;
    if (column === 0) {
      d = collator.compare(a.key, b.key);
    } else if (isNaN(a.key) || isNaN(b.key)) {
      // Cells without a verdict stay at the end whichever way the column is sorted.
      return (isNaN(a.key) - isNaN(b.key)) || a.order - b.order;
    } else {
      d = a.key - b.key;
    }
    return (up ? d : -d) || a.order - b.order;
  });
  return keyed.map(function (k) { return k.item; });
}

function place(table, rows) {
  var part = document.createDocumentFragment();
  rows.forEach(function (item) { part.appendChild(item.row); });
  table.body.appendChild(part);
}

function sortBy(table, column) {
  var head = table.heads[column], now = head.getAttribute("aria-sort");
  // A code is read from A to Z first, a verdict from the most urgent one.
  var up = now ? now === "descending" : column === 0;
  table.heads.forEach(function (h) { h.removeAttribute("aria-sort"); });
  head.setAttribute("aria-sort", up ? "ascending" : "descending");
  place(table, sortedBy(table.rows, column, up));
}

function fits(item, tableIndex, words, chosen, wanted) {
  if (look.checked && !item.look) { return false; }
  if (words && item.words.indexOf(words) < 0) { return false; }
  if (chosen && chosen[0] !== tableIndex) { return false; }
  if (!wanted) { return true; }
  var cells = chosen ? [item.cells[chosen[1] + 2]] : item.cells;
  return cells.some(function (cell) { return cell.classList.contains(wanted); });
}

function filter() {
  var words = text.value.trim().toLowerCase(), wanted = verdict.value;
  var chosen = check.value ? check.value.split(":").map(Number) : null;
  var count = 0, total = 0;
  tables.forEach(function (table, index) {
    var some = false;
    table.rows.forEach(function (item) {
      var fit = fits(item, index, words, chosen, wanted);
      item.row.hidden = !fit;
      some = some || fit;
      count += fit;
      total += 1;
    });
    table.section.hidden = !some;
  });
  shown.classList.toggle("partly", count < total);
  shown.textContent = count < total
    ? "Shown: " + count + " of " + total + " clips." : total === 1 ? "1 clip."
      : total + " clips, worst first unless sorted.";
}

function reset() {
  text.value = check.value = verdict.value = "";
  look.checked = false;
  tables.forEach(function (table) {
    table.heads.forEach(function (h) { h.removeAttribute("aria-sort"); });
    place(table, table.rows);
  });
  filter();
}

tables.forEach(function (table) {
  table.heads.forEach(function (head, column) {
    var button = document.createElement("button");
    button.type = "button";
    button.className = "sorter";
    // It lies over the head and holds no text of its own: heads made of buttons print empty.
    button.setAttribute("aria-label", "Sort by " + head.querySelector(".check").textContent);
    head.appendChild(button);
    button.addEventListener("click", function () { sortBy(table, column); });
  });
});
text.addEventListener("input", filter);
[check, verdict, look].forEach(function (field) { field.addEventListener("change", filter); });
byId("f-reset").addEventListener("click", reset);
byId("controls").hidden = false;
filter();
}());
