"use strict";
// Read-out of the pictures by mouse, touch and keyboard. The page is complete
// without it: every number is also in a table.
(function () {
  var NS = "http://www.w3.org/2000/svg";

  // control puts a slider under a picture and calls show(i) for each place.
  function control(fig, label, n, show) {
    var box = document.createElement("div"), lab = document.createElement("label");
    var input = document.createElement("input"), out = document.createElement("p");
    box.className = "read";
    input.type = "range";
    input.min = 0;
    input.max = n - 1;
    input.value = Math.floor(n / 2);
    input.id = fig.id + "-read";
    lab.htmlFor = input.id;
    lab.textContent = label + ": slide, or use the arrow keys, or touch the picture";
    box.append(lab, input, out);
    fig.querySelector(".plot").after(box);
    function set(i) {
      i = Math.max(0, Math.min(n - 1, i));
      input.value = i;
      var text = show(i);
      out.textContent = text;
      input.setAttribute("aria-valuetext", text);
    }
    input.addEventListener("input", function () { set(+input.value); });
    set(+input.value);
    return set;
  }

  // mark draws the line of the read-out at x in a picture.
  function mark(svg, x) {
    var d = svg.dataset, line = svg.querySelector(".cursor");
    if (!line) {
      line = document.createElementNS(NS, "line");
      line.setAttribute("class", "cursor");
      svg.append(line);
    }
    var px = +d.left + (x - d.lo) / (d.hi - d.lo) * (d.right - d.left);
    line.setAttribute("x1", px);
    line.setAttribute("x2", px);
    line.setAttribute("y1", d.top);
    line.setAttribute("y2", d.bottom);
    line.style.display = px >= +d.left - 1 && px <= +d.right + 1 ? "" : "none";
  }

  // follow calls at(x) with the x value under the pointer.
  function follow(svg, at) {
    function move(e) {
      var r = svg.getBoundingClientRect(), d = svg.dataset;
      var px = (e.clientX - r.left) / r.width * svg.viewBox.baseVal.width;
      at(+d.lo + (px - d.left) / (d.right - d.left) * (d.hi - d.lo));
    }
    svg.addEventListener("pointermove", move);
    svg.addEventListener("pointerdown", move);
  }

  function pictures(fig) { return fig.querySelectorAll("svg[data-lo]"); }

  document.querySelectorAll("figure[data-read]").forEach(function (fig) {
    var rows = [].slice.call(fig.querySelectorAll("tr[data-x]"));
    if (rows.length < 2) { return; }
    var heads = [].map.call(fig.querySelectorAll("thead th"), function (h) { return h.textContent; });
    var xs = rows.map(function (r) { return +r.dataset.x; });
    var set = control(fig, fig.dataset.read, rows.length, function (i) {
      pictures(fig).forEach(function (s) { mark(s, xs[i]); });
      return [].map.call(rows[i].cells, function (c, k) {
        var cut = heads[k].lastIndexOf(", ");
        return cut < 0 ? heads[k] + " " + c.textContent : heads[k].slice(0, cut) + " " + c.textContent + " " + heads[k].slice(cut + 2);
      }).join("; ");
    });
    pictures(fig).forEach(function (s) {
      follow(s, function (x) {
        var best = 0;
        xs.forEach(function (v, i) { if (Math.abs(v - x) < Math.abs(xs[best] - x)) { best = i; } });
        set(best);
      });
    });
  });

  function clock(s) {
    s = Math.round(s);
    var h = Math.floor(s / 3600), m = Math.floor(s / 60) % 60, two = function (n) { return (n < 10 ? "0" : "") + n; };
    return h ? h + ":" + two(m) + ":" + two(s % 60) : m + ":" + two(s % 60);
  }

  document.querySelectorAll("script.samples").forEach(function (el) {
    var fig = el.closest("figure"), d = JSON.parse(el.textContent), n = d.series[0].v.length;
    var slide = fig.querySelector(".slide"), strip = slide && slide.querySelector("svg"), started = false;
    var set = control(fig, "Time", n, function (i) {
      var t = d.lo + (i + 0.5) * d.step, text = ["at " + clock(t)];
      pictures(fig).forEach(function (s) { mark(s, t); });
      d.series.forEach(function (s) { if (s.v[i] !== null) { text.push(s.name + " " + String(s.v[i]).replace("-", "\u2212") + " " + s.unit); } });
      for (var k = 0; d.ride && k + 1 < d.ride.length; k += 2) {
        if (i >= d.ride[k] && i <= d.ride[k + 1]) { text.push("ride " + (k / 2 + 1)); }
      }
      if (strip && started && !slide.matches(":hover")) {
        slide.scrollLeft = strip.clientWidth * i / n - slide.clientWidth / 2;
      }
      return text.join("; ");
    });
    started = true;
    pictures(fig).forEach(function (s) {
      follow(s, function (t) { set(Math.floor((t - d.lo) / d.step)); });
    });
  });

  // A link to a picture opens it.
  function unfold() {
    var fold = location.hash.indexOf("#fig-") === 0 && document.querySelector(location.hash + " .fold");
    if (fold) { fold.open = true; }
  }
  window.addEventListener("hashchange", unfold);
  unfold();

  // Tables of the comparison sort by a click on a column's head.
  document.querySelectorAll("table.sort").forEach(function (table) {
    [].forEach.call(table.tHead.rows[0].cells, function (th, k) {
      var b = document.createElement("button");
      b.type = "button";
      b.textContent = th.textContent;
      th.textContent = "";
      th.append(b);
      b.addEventListener("click", function () {
        var down = th.getAttribute("aria-sort") === "ascending";
        [].forEach.call(table.tHead.rows[0].cells, function (o) { o.removeAttribute("aria-sort"); });
        th.setAttribute("aria-sort", down ? "descending" : "ascending");
        var rows = [].slice.call(table.tBodies[0].rows), key = function (r) {
          var v = r.cells[k].dataset.v || r.cells[k].textContent, f = parseFloat(v.replace("\u2212", "-"));
          return isNaN(f) ? v : f;
        };
        rows.sort(function (p, q) {
          var a = key(p), c = key(q), o = typeof a === typeof c ? (a < c ? -1 : a > c ? 1 : 0) : typeof a === "number" ? -1 : 1;
          return down ? -o : o;
        });
        table.tBodies[0].append.apply(table.tBodies[0], rows);
      });
    });
  });
})();
