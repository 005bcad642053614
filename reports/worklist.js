(function () {
  var form = document.querySelector(".controls"), list = document.querySelector(".worklist");
  if (!form || !list) { return; }
  var rows = document.querySelector("table[data-list] tbody"), status = form.querySelector("[role=status]");
  var boxes = Array.from(form.querySelectorAll("[data-filter]")), sorter = form.querySelector("[data-sort]");
  var moves = false, sorted = "order", page = 200, limit = page, more = document.querySelector("button.more");
  function number(text) {
    var found = parseFloat((text || "").replace(/\u202f/g, "").replace("\u2212", "-").replace(",", "."));
    return isNaN(found) ? Infinity : found;
  }
  function card(node, at) {
    var have = node.dataset;
    return { node: node, order: at, at: at, site: [have.site], state: [have.state], reason: have.reason.split("|"),
      slope: number(have.slope), gain: number(have.gain), adherence: number(have.adherence) };
  }
  function row(node, at) {
    var cells = Array.from(node.cells, function (cell) { return cell.textContent; });
    return { node: node, order: at, at: at, site: [cells[2]], state: [cells[3]], reason: cells[4].split("; "),
      slope: number(cells[5]), gain: number(cells[6]), adherence: number(cells[7]) };
  }
  var groups = [{ box: list, items: Array.from(list.children, card) }];
  if (rows) { groups.push({ box: rows, items: Array.from(rows.rows, row) }); }
  function sort(items, name) {
    items.sort(function (a, b) { return (a[name] < b[name] ? -1 : a[name] > b[name] ? 1 : 0) || a.at - b.at; });
  }
  function show(event) {
    if (event) { limit = page; }
    moves = moves || sorter.value !== "order";  // from the first sort on, rows that are not shown stand in any order
    var shown = 0, whole = 0, listed = 0, wanted = boxes.filter(function (box) { return box.value; });
    groups.forEach(function (group) {
      var front = document.createDocumentFragment();
      if (sorter.value !== sorted) { sort(group.items, sorter.value); }
      group.items.forEach(function (item) {
        var keep = wanted.every(function (box) { return item[box.dataset.filter].indexOf(box.value) >= 0; });
        var seen = keep && (group.box === list || ++listed <= limit);
        if (item.node.hidden === seen) { item.node.hidden = !seen; }
        if (seen && moves) { front.appendChild(item.node); }
        shown += keep ? 1 : 0;
      });
      if (moves) { group.box.insertBefore(front, group.box.firstChild); }
      whole += group.items.length;
    });
    sorted = sorter.value;
    if (more) {
      more.hidden = listed <= limit;
      more.textContent = more.getAttribute("data-text").replace("#", Math.min(page, listed - limit));
    }
    status.textContent = status.getAttribute("data-text").replace("#", shown).replace("%", whole);
  }
  form.addEventListener("change", show);
  if (more) { more.addEventListener("click", function () { limit += page; show(); }); }
  form.addEventListener("submit", function (event) { event.preventDefault(); });
  list.addEventListener("keydown", function (event) {
    var step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (!step || event.target.tagName !== "SUMMARY" || event.target.parentNode.parentNode.parentNode !== list) { return; }
    var heads = Array.from(list.querySelectorAll(".card:not([hidden]) > details > summary"));
    var next = heads[heads.indexOf(event.target) + step];
    if (next) { event.preventDefault(); next.focus(); }
  });
  form.hidden = false;
  show();
})();
