// The two maps of a field: drawn from the points in the page, moving together.
"use strict";
(() => {
  document.body.classList.add("ready");
  const source = document.getElementById("points");
  if (!source) return;
  const p = JSON.parse(source.textContent);
  const n = p.n;

  // ---- points ----
  const text = atob(p.data);
  const bytes = new Uint8Array(text.length);
  for (let i = 0; i < bytes.length; i++) bytes[i] = text.charCodeAt(i);
  const wide = (k) => new Uint16Array(bytes.buffer, 2 * n * k, n);
  const narrow = (k) => new Uint8Array(bytes.buffer, 10 * n + n * k, n);
  const [X, Y, LOGGED, CORRECTED, MOISTURE] = [0, 1, 2, 3, 4].map(wide);
  const [CUT, SPEED, HALF, REASON] = [0, 1, 2, 3].map(narrow);
  const MISSING = 65535;
  // What changes seldom is stored where it changes: the last entry at or before a point counts.
  const at = (runs, i) => {
    let low = 0, high = runs.length - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (runs[middle][0] <= i) low = middle; else high = middle - 1;
    }
    return runs[low];
  };

  // Half the ground of each point along its way, as a vector in metres.
  const AX = new Float32Array(n), AY = new Float32Array(n);
  for (let r = 0; r < p.pass.length; r++) {
    const from = p.pass[r][0], to = r + 1 < p.pass.length ? p.pass[r + 1][0] : n;
    for (let i = from; i < to; i++) {
      const a = i > from ? i - 1 : i, b = i > from ? i : Math.min(i + 1, to - 1);
      let dx = (X[b] - X[a]) * p.step, dy = (Y[b] - Y[a]) * p.step;
      const d = Math.hypot(dx, dy);
      const keep = d > 0.05 && d < 25 ? 0.5 : 0;
      if (!keep) { dx = 0; dy = 1; }
      AX[i] = dx * (keep || 0.5);
      AY[i] = dy * (keep || 0.5);
    }
  }

  // ---- colours ----
  const STEPS = 256;
  const pack = (c) => (255 << 24 | c.b << 16 | c.g << 8 | c.r) >>> 0; // little-endian
  const RAMP = Uint32Array.from({ length: STEPS }, (_, k) => pack(d3.rgb(d3.interpolateViridis(k / (STEPS - 1)))));
  const [low, high] = p.scale;
  const colour = (whole) => {
    const share = (whole * p.yield_step - low) / (high - low);
    return RAMP[share <= 0 ? 0 : share >= 1 ? STEPS - 1 : (share * (STEPS - 1) + 0.5) | 0];
  };
  // For points set aside: outside the ramp's colours, and told apart without red against green.
  const MARKS = [["#d55e00", "#fff"], ["#000", "#fff"], ["#ff9ad5", "#000"], ["#fff", "#000"]];
  const marks = new Map(); // place of a reason: its colours

  // ---- view ----
  const MARGIN = 25;
  const view = { x: p.size[0] / 2, y: p.size[1] / 2, zoom: 1 };
  const cross = { point: -1 };
  const aspect = Math.min(1.6, Math.max(0.8, (p.size[0] - 2 * MARGIN) / (p.size[1] - 2 * MARGIN)));
  const notWorking = p.reasons.indexOf("not-working") + 1;

  const maps = [...document.querySelectorAll(".map")].map((box) => {
    box.style.aspectRatio = aspect;
    const canvas = document.createElement("canvas"), over = document.createElement("canvas");
    box.append(canvas, over);
    const logged = box.dataset.map === "logged";
    return { box, canvas, over, logged, values: logged ? LOGGED : CORRECTED };
  });

  const fit = (m) => Math.min(m.canvas.width / (p.size[0] - 2 * MARGIN), m.canvas.height / (p.size[1] - 2 * MARGIN));
  const perMetre = (m) => fit(m) * view.zoom;

  const measure = (m) => {
    const ratio = Math.min(2, window.devicePixelRatio || 1);
    const w = Math.round(m.box.clientWidth * ratio), h = Math.round(m.box.clientHeight * ratio);
    if (w > 0 && h > 0 && (m.canvas.width !== w || m.canvas.height !== h)) {
      for (const c of [m.canvas, m.over]) { c.width = w; c.height = h; }
    }
    m.ratio = ratio;
  };

  // The ground of one point: a rectangle along its way, filled pixel by pixel.
  const ground = (pixels, W, H, sx, sy, ux, uy, along, across, value) => {
    const ex = Math.abs(ux) * along + Math.abs(uy) * across, ey = Math.abs(uy) * along + Math.abs(ux) * across;
    const x0 = Math.max(0, Math.ceil(sx - ex - 0.5)), x1 = Math.min(W - 1, Math.floor(sx + ex - 0.5));
    const y0 = Math.max(0, Math.ceil(sy - ey - 0.5)), y1 = Math.min(H - 1, Math.floor(sy + ey - 0.5));
    for (let y = y0; y <= y1; y++) {
      const dy = y + 0.5 - sy;
      for (let x = x0, at = y * W + x0; x <= x1; x++, at++) {
        const dx = x + 0.5 - sx;
        if (Math.abs(dx * ux + dy * uy) <= along && Math.abs(dx * uy - dy * ux) <= across) pixels[at] = value;
      }
    }
  };

  const paint = (m) => {
    const { canvas, values, logged } = m;
    const W = canvas.width, H = canvas.height;
    if (!W || !H) return;
    const context = canvas.getContext("2d");
    const image = context.createImageData(W, H);
    const pixels = new Uint32Array(image.data.buffer);
    const k = perMetre(m), reach = p.header * k + 2;
    const one = (i, width) => {
      const sx = (X[i] * p.step - view.x) * k + W / 2, sy = H / 2 - (Y[i] * p.step - view.y) * k;
      if (sx < -reach || sy < -reach || sx > W + reach || sy > H + reach) return;
      const half = Math.hypot(AX[i], AY[i]) || 1;
      ground(pixels, W, H, sx, sy, AX[i] / half, -AY[i] / half, Math.max(0.8, half * k * 1.04 + 0.3), Math.max(0.8, 0.5 * width * k + 0.4), colour(values[i]));
    };
    if (logged) {
      // What the machine logged while it was not at work lies underneath.
      for (let i = 0; i < n; i++) if (REASON[i] === notWorking && notWorking && values[i] !== MISSING) one(i, p.header);
      for (let i = 0; i < n; i++) if ((REASON[i] !== notWorking || !notWorking) && values[i] !== MISSING) one(i, p.header);
    } else {
      for (let i = 0; i < n; i++) if (!REASON[i] && values[i] !== MISSING) one(i, CUT[i] === 255 ? p.header : Math.max(0.3 * p.header, CUT[i] / 10));
    }
    context.putImageData(image, 0, 0);
    if (marks.size) {
      const size = Math.max(4 * m.ratio, Math.min(0.35 * p.header * k, 12 * m.ratio));
      for (let i = 0; i < n; i++) {
        const mark = marks.get(REASON[i]);
        if (!mark) continue;
        const sx = (X[i] * p.step - view.x) * k + W / 2, sy = H / 2 - (Y[i] * p.step - view.y) * k;
        if (sx < -9 || sy < -9 || sx > W + 9 || sy > H + 9) continue;
        context.fillStyle = mark[1];
        context.fillRect(sx - size / 2 - 1, sy - size / 2 - 1, size + 2, size + 2);
        context.fillStyle = mark[0];
        context.fillRect(sx - size / 2, sy - size / 2, size, size);
      }
    }
    m.painted = { x: view.x, y: view.y, k };
  };

  const paintOver = (m) => {
    const { over } = m;
    const context = over.getContext("2d"), W = over.width, H = over.height, k = perMetre(m), r = m.ratio;
    context.clearRect(0, 0, W, H);
    const place = (x, y) => [(x - view.x) * k + W / 2, H / 2 - (y - view.y) * k];
    context.lineWidth = 1.5 * r;
    context.strokeStyle = "#1b2126";
    for (const ring of p.boundary) {
      context.beginPath();
      ring.forEach(([x, y], j) => context[j ? "lineTo" : "moveTo"](...place(x, y)));
      context.closePath();
      context.stroke();
    }
    // Scale bar: the longest round length within a quarter of the map.
    const most = W / 4 / k, power = 10 ** Math.floor(Math.log10(most));
    const metres = [5, 2, 1].map((v) => v * power).find((v) => v <= most), length = metres * k;
    const x = 10 * r, y = H - 12 * r;
    context.font = `${12 * r}px system-ui, "DejaVu Sans", sans-serif`;
    const label = metres >= 1000 ? `${metres / 1000} km` : `${metres} m`;
    context.fillStyle = "rgba(255,255,255,0.85)";
    context.fillRect(x - 5 * r, y - 20 * r, Math.max(length, context.measureText(label).width) + 10 * r, 28 * r);
    context.fillRect(W - 30 * r, 8 * r, 22 * r, 40 * r);
    context.fillStyle = "#1b2126";
    context.fillText(label, x, y - 7 * r);
    context.fillRect(x, y - 2 * r, length, 4 * r);
    context.beginPath();
    const nx = W - 19 * r;
    context.moveTo(nx, 11 * r); context.lineTo(nx + 6 * r, 28 * r); context.lineTo(nx, 24 * r); context.lineTo(nx - 6 * r, 28 * r);
    context.fill();
    context.textAlign = "center";
    context.fillText("N", nx, 43 * r);
    context.textAlign = "start";
    if (cross.point >= 0) {
      const [cx, cy] = place(X[cross.point] * p.step, Y[cross.point] * p.step);
      for (const [width, style] of [[4, "#fff"], [2, "#000"]]) {
        context.lineWidth = width * r;
        context.strokeStyle = style;
        context.beginPath();
        context.arc(cx, cy, 8 * r, 0, 7);
        context.stroke();
      }
    }
  };

  // While the maps move, what was painted last is moved along if painting anew takes longer than a frame.
  let cost = 0, pending = 0, late = 0;
  const slide = (m) => {
    const was = m.painted, k = perMetre(m), s = k / was.k, W = m.canvas.width, H = m.canvas.height;
    if (!m.last) m.last = document.createElement("canvas");
    if (!m.frozen) {
      m.last.width = W; m.last.height = H;
      m.last.getContext("2d").drawImage(m.canvas, 0, 0);
      m.frozen = was;
    }
    const f = m.frozen, fs = k / f.k, context = m.canvas.getContext("2d");
    context.clearRect(0, 0, W, H);
    context.drawImage(m.last, W / 2 - (view.x - f.x) * k - (W / 2) * fs, H / 2 + (view.y - f.y) * k - (H / 2) * fs, W * fs, H * fs);
    return s;
  };
  const whole = () => {
    const start = performance.now();
    for (const m of maps) { measure(m); m.frozen = null; paint(m); paintOver(m); }
    cost = performance.now() - start;
  };
  const draw = (moving) => {
    clearTimeout(late);
    if (moving && cost > 14) late = setTimeout(() => draw(false), 120);
    const slow = moving && cost > 14;
    if (pending) cancelAnimationFrame(pending);
    pending = requestAnimationFrame(() => {
      pending = 0;
      if (slow) for (const m of maps) { slide(m); paintOver(m); }
      else whole();
    });
  };

  // ---- the point under the pointer ----
  const CELL = Math.max(10, p.header * 1.5);
  let cells = null;
  const index = () => {
    const columns = Math.ceil(p.size[0] / CELL) + 1, rows = Math.ceil(p.size[1] / CELL) + 1;
    const of = (i) => Math.floor(Y[i] * p.step / CELL) * columns + Math.floor(X[i] * p.step / CELL);
    const start = new Uint32Array(columns * rows + 1);
    for (let i = 0; i < n; i++) start[of(i) + 1]++;
    for (let c = 0; c < columns * rows; c++) start[c + 1] += start[c];
    const next = start.slice(), order = new Uint32Array(n);
    for (let i = 0; i < n; i++) order[next[of(i)]++] = i;
    return { columns, rows, start, order };
  };
  const nearest = (x, y, reach) => {
    cells = cells || index();
    const around = Math.ceil(reach / CELL), cx = Math.floor(x / CELL), cy = Math.floor(y / CELL);
    let best = -1, least = reach;
    for (let row = Math.max(0, cy - around); row <= Math.min(cells.rows - 1, cy + around); row++) {
      for (let column = Math.max(0, cx - around); column <= Math.min(cells.columns - 1, cx + around); column++) {
        const c = row * cells.columns + column;
        for (let j = cells.start[c]; j < cells.start[c + 1]; j++) {
          const i = cells.order[j], d = Math.hypot(X[i] * p.step - x, Y[i] * p.step - y);
          if (d < least) { least = d; best = i; }
        }
      }
    }
    return best;
  };
  const unit = p.unit;
  const decimals = unit === "t/ha" ? 2 : unit === "bu/ac" ? 1 : 0;
  const amount = (whole) => whole === MISSING ? "–" : (whole * p.yield_step).toFixed(decimals);
  const words = Object.fromEntries([...document.querySelectorAll("button.show")].map((b) => [b.dataset.reason, b.getAttribute("aria-label").replace(/^[^:]*: /, "")]));
  const describe = (i) => {
    const [first, log, row] = at(p.rows, i), pass = at(p.pass, i)[1], load = at(p.load, i)[1];
    const reason = REASON[i] ? p.reasons[REASON[i] - 1] : null;
    const half = HALF[i] / 400;
    const parts = [`corrected ${amount(CORRECTED[i])} ${unit}`];
    if (CORRECTED[i] !== MISSING && HALF[i] < 254) {
      const y = CORRECTED[i] * p.yield_step;
      parts[0] += ` (95 %: ${(y / (1 + half)).toFixed(decimals)} to ${(y * (1 + half)).toFixed(decimals)})`;
    }
    parts.push(`logged ${amount(LOGGED[i])} ${unit}`);
    if (reason) parts.unshift(`set aside: ${words[reason] || reason}`);
    if (MOISTURE[i] !== MISSING) parts.push(`moisture ${(MOISTURE[i] / 100).toFixed(1)} %`);
    if (CUT[i] !== 255) parts.push(`cut width ${(CUT[i] / 10).toFixed(1)} m`);
    if (SPEED[i] !== 255) parts.push(`speed ${(SPEED[i] / 20).toFixed(2)} m/s`);
    if (pass) parts.push(`pass ${pass}`);
    if (load) parts.push(`load ${p.loads[load - 1]}`);
    parts.push(`machine ${p.machines[at(p.machine, i)[1]]}`, `${p.logs[log]}, row ${row + i - first}`);
    return parts.join(" · ");
  };
  const readout = document.getElementById("readout");
  const asked = readout.textContent;
  const look = (m, x, y) => {
    const k = perMetre(m);
    const point = nearest(view.x + (x - m.canvas.width / 2) / k, view.y - (y - m.canvas.height / 2) / k, Math.max(p.header, (14 * m.ratio) / k));
    if (point === cross.point) return;
    cross.point = point;
    readout.textContent = point < 0 ? asked : describe(point);
    for (const each of maps) paintOver(each);
  };

  // ---- moving ----
  const hold = () => {
    view.zoom = Math.min(60, Math.max(1, view.zoom));
    if (view.zoom === 1) { view.x = p.size[0] / 2; view.y = p.size[1] / 2; }
    view.x = Math.min(p.size[0], Math.max(0, view.x));
    view.y = Math.min(p.size[1], Math.max(0, view.y));
    for (const m of maps) m.box.style.touchAction = view.zoom > 1 ? "none" : "pan-y";
    draw(true);
  };
  const zoom = (by, m, x, y) => {
    if (m) {
      const k = perMetre(m), px = view.x + (x - m.canvas.width / 2) / k, py = view.y - (y - m.canvas.height / 2) / k;
      const to = Math.min(60, Math.max(1, view.zoom * by)) / view.zoom;
      view.x = px + (view.x - px) / to;
      view.y = py + (view.y - py) / to;
    }
    view.zoom *= by;
    hold();
  };
  const all = () => { view.zoom = 1; hold(); };

  for (const m of maps) {
    const { box } = m;
    let drag = null;
    const where = (event) => {
      const r = box.getBoundingClientRect();
      return [(event.clientX - r.left) * m.ratio, (event.clientY - r.top) * m.ratio];
    };
    box.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      drag = where(event);
      look(m, ...drag);
      if (event.pointerType === "mouse" || view.zoom > 1) box.setPointerCapture(event.pointerId);
    });
    box.addEventListener("pointermove", (event) => {
      const [x, y] = where(event);
      if (drag && view.zoom > 1) {
        const k = perMetre(m);
        view.x -= (x - drag[0]) / k;
        view.y += (y - drag[1]) / k;
        drag = [x, y];
        hold();
      }
      look(m, x, y);
    });
    for (const end of ["pointerup", "pointercancel"]) box.addEventListener(end, () => { drag = null; });
    box.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && document.activeElement !== box) return;
      event.preventDefault();
      zoom(Math.exp(-event.deltaY * 0.0018), m, ...where(event));
    }, { passive: false });
    box.addEventListener("dblclick", (event) => zoom(2, m, ...where(event)));
    box.addEventListener("keydown", (event) => {
      const move = (0.12 * m.canvas.width) / perMetre(m);
      const act = {
        ArrowLeft: () => { view.x -= move; hold(); }, ArrowRight: () => { view.x += move; hold(); },
        ArrowUp: () => { view.y += move; hold(); }, ArrowDown: () => { view.y -= move; hold(); },
        "+": () => zoom(1.5), "=": () => zoom(1.5), "-": () => zoom(1 / 1.5), 0: all,
      }[event.key];
      if (!act || event.ctrlKey || event.metaKey || event.altKey) return;
      event.preventDefault();
      act();
      look(m, m.canvas.width / 2, m.canvas.height / 2);
    });
  }
  for (const button of document.querySelectorAll("[data-zoom]")) {
    button.addEventListener("click", () => ({ in: () => zoom(1.6), out: () => zoom(1 / 1.6), all })[button.dataset.zoom]());
  }
  for (const button of document.querySelectorAll("button.show")) {
    const place = p.reasons.indexOf(button.dataset.reason) + 1;
    if (!place) { button.disabled = true; continue; }
    button.addEventListener("click", () => {
      const on = button.getAttribute("aria-pressed") !== "true";
      button.setAttribute("aria-pressed", on);
      if (on) {
        const taken = [...marks.values()];
        marks.set(place, MARKS.find((mark) => !taken.includes(mark)) || MARKS[marks.size % MARKS.length]);
      } else marks.delete(place);
      button.replaceChildren(on ? "shown" : "show");
      if (on) {
        const dot = document.createElement("span");
        dot.className = "dot";
        dot.style.background = marks.get(place)[0];
        button.prepend(dot);
      }
      draw(false);
    });
  }
  new ResizeObserver(() => draw(false)).observe(maps[0].box);
  for (const m of maps) m.box.style.touchAction = "pan-y";
  whole();
  performance.mark("maps painted");
})();
