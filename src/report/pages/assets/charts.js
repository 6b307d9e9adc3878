// The charts of a field, drawn by Observable Plot from the figures in the page.
"use strict";
(() => {
  const source = document.getElementById("charts");
  if (!source || !window.Plot) return;
  const c = JSON.parse(source.textContent);
  const INK = "#1b2126", BLUE = "#1f5673", BROWN = "#8a4b08", GREY = "#87919a", BAND = "#cfdde6";
  const style = { fontSize: "12px", fontFamily: "inherit", background: "transparent", color: INK, overflow: "visible" };
  const t = (v) => Math.abs(v) >= 100 ? v.toFixed(1) : v.toFixed(2);
  const signed = (v) => (v > 0 ? "+" : "−") + t(Math.abs(v));
  const edges = (h, of) => h.amounts.map((amount, i) => ({ x1: h.from + i * h.step, x2: h.from + (i + 1) * h.step, amount, ...of }));

  const charts = {
    steps(width) {
      const steps = c.steps;
      const ends = steps.flatMap((s) => s.total ? [s.to] : [s.from, s.to]);
      const span = Math.max(...ends) - Math.min(...ends) || Math.max(...ends) * 0.1;
      const low = Math.max(0, Math.min(...ends) - 0.25 * span), high = Math.max(...ends) + 0.3 * span;
      return Plot.plot({
        width, style, height: 24 * steps.length + 50, marginBottom: 40, marginLeft: 122, marginRight: 10,
        x: { domain: [low, high], label: "t", grid: true, ticks: 5 }, y: { domain: steps.map((s) => s.label), label: null, tickSize: 0 },
        marks: [
          Plot.barX(steps, { y: "label", x1: (s) => s.total ? low : s.from, x2: "to", fill: (s) => s.total ? INK : s.to < s.from ? BROWN : BLUE, insetTop: 3, insetBottom: 3 }),
          Plot.text(steps, { y: "label", x: (s) => Math.max(s.total ? s.to : s.from, s.to), dx: 5, textAnchor: "start", text: (s) => s.total ? t(s.to) : signed(s.to - s.from) }),
        ],
      });
    },
    loads(width) {
      const loads = c.loads;
      if (!loads.length) return null;
      const reach = Math.max(5, ...loads.flatMap((l) => [l.before, l.after, l.low, l.high].map((v) => Math.abs(v ?? 0)))) * 1.08;
      const longest = Math.max(...loads.map((l) => l.label.length));
      const short = (s) => s.length > 18 ? s.slice(0, 8) + "…" + s.slice(-9) : s;
      return Plot.plot({
        width, style, height: Math.max(15, Math.min(20, 520 / loads.length)) * loads.length + 50, marginBottom: 40, marginLeft: Math.min(140, 20 + 7 * longest),
        x: { domain: [-reach, reach], label: "log off the scale, %", grid: true, ticks: 6 }, y: { domain: loads.map((_, i) => i), tickFormat: (i) => short(loads[i].label), label: null, tickSize: 0 },
        marks: [
          Plot.rectX([0], { x1: -3, x2: 3, fill: BAND }),
          Plot.ruleX([0], { stroke: INK }),
          Plot.ruleY(loads.map((l, i) => ({ ...l, i })).filter((l) => l.low !== null), { y: "i", x1: "low", x2: "high", stroke: GREY, strokeWidth: 3, strokeDasharray: "2,2" }),
          Plot.link(loads.map((l, i) => ({ ...l, i })).filter((l) => l.before !== null && l.after !== null), { y1: "i", y2: "i", x1: "before", x2: "after", stroke: GREY }),
          Plot.dot(loads.map((l, i) => ({ ...l, i })).filter((l) => l.before !== null), { y: "i", x: "before", r: 4, stroke: INK, fill: "#fff" }),
          Plot.dot(loads.map((l, i) => ({ ...l, i })).filter((l) => l.after !== null), { y: "i", x: "after", r: 4, fill: (l) => l.doubtful ? "#8c1c5a" : BLUE, symbol: (l) => l.doubtful ? "square" : "circle" }),
          Plot.text(loads.map((l, i) => ({ ...l, i })).filter((l) => l.doubtful), { y: "i", x: "after", dy: -11, text: () => "in doubt", fill: "#8c1c5a" }),
        ],
        symbol: { type: "identity" },
      });
    },
    delay(width, index) {
      const { summary, grounds } = c.machines[index], d = grounds.delay;
      if (!d) return null;
      const line = (values) => values.map((v, i) => ({ s: d.from + i * d.step, v }));
      const own = line(d.field), all = line(d.machine), e = summary.delay_s;
      return Plot.plot({
        width, style, height: 236, marginLeft: 48, marginBottom: 40,
        x: { label: "candidate delay, s", ticks: 9 }, y: { label: "not shared by neighbouring passes", grid: true, nice: true, ticks: 5, zero: true },
        marks: [
          e.ci95_low === null ? null : Plot.rectX([0], { x1: e.ci95_low, x2: e.ci95_high, fill: BAND }),
          Plot.ruleX([e.value], { stroke: INK }),
          all.length ? Plot.line(all, { x: "s", y: "v", stroke: BROWN, strokeDasharray: "5,3" }) : null,
          own.length ? Plot.line(own, { x: "s", y: "v", stroke: BLUE, strokeWidth: 2 }) : null,
          Plot.text([e.value], { x: (v) => v, frameAnchor: "top", dx: 6, textAnchor: "start", text: (v) => `${v.toFixed(1)} s` }),
        ],
      });
    },
    ramps(width, index) {
      const { grounds } = c.machines[index];
      const rows = [["filling: s after the start", grounds.entry], ["emptying: s before the end", grounds.exit]].flatMap(([end, r]) =>
        r.profile.slice(0, 31).map(([low, middle, high], i) => ({ end, s: i + 0.5, low, middle, high })).filter((v) => v.middle !== null));
      if (!rows.length) return null;
      const stops = [["filling: s after the start", grounds.entry.seconds], ["emptying: s before the end", grounds.exit.seconds]].map(([end, s]) => ({ end, s }));
      return Plot.plot({
        width, style, height: 236, marginLeft: 48, marginTop: 42, marginBottom: 40, insetRight: 4,
        fx: { label: null, domain: stops.map((v) => v.end) }, x: { label: "s", ticks: 5 }, y: { label: "share of the pass’s level", grid: true, ticks: 5, domain: [0, Math.max(1.2, ...rows.map((r) => Math.min(1.6, r.high)))], clamp: true },
        marks: [
          Plot.areaY(rows, { fx: "end", x: "s", y1: "low", y2: "high", fill: BAND }),
          Plot.ruleY([1], { stroke: GREY }),
          Plot.line(rows, { fx: "end", x: "s", y: "middle", stroke: BLUE, strokeWidth: 2 }),
          Plot.ruleX(stops, { fx: "end", x: "s", stroke: INK }),
          Plot.text(stops, { fx: "end", x: "s", y: 0.08, dx: 6, textAnchor: "start", text: (v) => `${v.s.toFixed(0)} s` }),
        ],
      });
    },
    yields(width) {
      if (!c.yields) return null;
      const after = edges(c.yields.after), before = edges(c.yields.before);
      return Plot.plot({
        width, style, height: 216, marginLeft: 44, marginBottom: 40, x: { label: c.unit, ticks: 6 }, y: { label: "ha", grid: true, ticks: 4 },
        marks: [
          Plot.rectY(after, { x1: "x1", x2: "x2", y: "amount", fill: BLUE, fillOpacity: 0.75 }),
          Plot.line(before, { x: "x1", y: "amount", curve: "step-after", stroke: INK, strokeWidth: 1.8 }),
          Plot.ruleY([0]),
        ],
      });
    },
    moisture: (width) => c.moisture && plain(width, c.moisture, "moisture, %", "t"),
    width: (width) => c.cut_share && plain(width, c.cut_share, "header on standing crop, %", "ha"),
  };
  const plain = (width, h, label, unit) => Plot.plot({
    width, style, height: 216, marginLeft: 48, marginBottom: 40, x: { label, ticks: 6 }, y: { label: unit, grid: true, ticks: 4 },
    marks: [Plot.rectY(edges(h), { x1: "x1", x2: "x2", y: "amount", fill: BLUE, fillOpacity: 0.75 }), Plot.ruleY([0])],
  });

  const draw = () => {
    for (const box of document.querySelectorAll("[data-chart]")) {
      const svg = charts[box.dataset.chart](Math.max(260, box.clientWidth), Number(box.dataset.index));
      if (!svg) { box.remove(); continue; }
      svg.setAttribute("aria-hidden", "true"); // the box around it says what it shows
      svg.style.width = "100%";
      svg.style.height = "auto";
      box.replaceChildren(svg);
    }
    performance.mark("charts drawn");
  };
  requestAnimationFrame(() => setTimeout(draw));
})();
