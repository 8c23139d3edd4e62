"use strict";
// The sheet's own arithmetic: fields recombine from what the ports are held at. All SI.
(function () {
  const data = JSON.parse(document.getElementById("numbers").textContent);
  const nx = data.x.length - 1, ny = data.y.length - 1, columns = nx * ny;
  const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
  const bits = (text, count) => {
    const raw = bytes(text), out = new Uint8Array(count);
    for (let i = 0; i < count; i++) out[i] = (raw[i >> 3] >> (7 - (i & 7))) & 1;
    return out;
  };
  const house = bits(data.house, columns);
  const openX = bits(data.open_x, (nx - 1) * ny), openY = bits(data.open_y, nx * (ny - 1));
  const usable = bits(data.patch.usable, data.patch.x.length * data.patch.y.length);
  const raw = bytes(data.fields.data).buffer;
  const stored = data.fields.bits === 32 ? new Float32Array(raw) : new Uint16Array(raw);
  const unit = data.fields.bits === 32 ? 1 : 1 / 65535;
  const atm = data.pressure_atm;
  const toU = (p) => p + (p * p) / (2 * atm);
  const toP = (u) => atm * (Math.sqrt(Math.max(1 + (2 * u) / atm, 0)) - 1);
  const dx = data.x.slice(1).map((v, i) => v - data.x[i]);
  const dy = data.y.slice(1).map((v, i) => v - data.y[i]);

  function solve(matrix, right) { // small and positive definite: elimination with pivots
    const n = right.length, a = matrix.map((row, i) => [...row, right[i]]);
    for (let k = 0; k < n; k++) {
      let best = k;
      for (let i = k + 1; i < n; i++) if (Math.abs(a[i][k]) > Math.abs(a[best][k])) best = i;
      [a[k], a[best]] = [a[best], a[k]];
      for (let i = k + 1; i < n; i++) {
        const f = a[i][k] / a[k][k];
        for (let j = k; j <= n; j++) a[i][j] -= f * a[k][j];
      }
    }
    const out = new Array(n).fill(0);
    for (let i = n - 1; i >= 0; i--) {
      let left = a[i][n];
      for (let j = i + 1; j < n; j++) left -= a[i][j] * out[j];
      out[i] = left / a[i][i];
    }
    return out;
  }

  function portU(state) { // a capped point draws nothing and floats: it is not at no vacuum
    const u = data.ports.map((name) => {
      if (name in state.references) return toU(state.references[name]);
      return state.capped[name] ? NaN : toU(-state.vacuums[name]);
    });
    const free = u.map((v, i) => i).filter((i) => Number.isNaN(u[i]));
    if (free.length) {
      const held = u.map((v, i) => i).filter((i) => !Number.isNaN(u[i]));
      const right = free.map((i) => -held.reduce((s, j) => s + data.matrix[i][j] * u[j], 0));
      const inner = free.map((i) => free.map((j) => data.matrix[i][j]));
      solve(inner, right).forEach((v, k) => { u[free[k]] = v; });
    }
    return u;
  }

  function pressures(u) {
    const p = new Float64Array(columns);
    for (let c = 0; c < columns; c++) {
      let sum = 0;
      for (let k = 0; k < u.length; k++) sum += u[k] * stored[k * columns + c] * unit;
      p[c] = toP(sum);
    }
    return p;
  }

  // Share of a triangle at or below a level, its corners a, b and c.
  function shareBelow(a, b, c, level) {
    const v = [a, b, c].sort((m, n) => m - n);
    if (level >= v[2]) return 1;
    if (level < v[0]) return 0;
    if (level < v[1]) return (level - v[0]) ** 2 / ((v[1] - v[0]) * (v[2] - v[0]));
    return 1 - (v[2] - level) ** 2 / ((v[2] - v[1]) * (v[2] - v[0]));
  }

  const wayX = (i, j) => i >= 0 && i < nx - 1 && j >= 0 && j < ny && openX[i * ny + j] === 1;
  const wayY = (i, j) => i >= 0 && i < nx && j >= 0 && j < ny - 1 && openY[i * (ny - 1) + j] === 1;
  const size = (d, i) => d[Math.min(Math.max(i, 0), d.length - 1)];

  function corner(p, i, j, sx, sy) { // bilinear mean of the columns around, never past a footing
    const borderX = sx > 0 ? i : i - 1, borderY = sy > 0 ? j : j - 1;
    const bx = wayX(borderX, j), by = wayY(i, borderY);
    const both = (bx && wayY(i + sx, borderY)) || (by && wayX(borderX, j + sy));
    let total = 0, weight = 0;
    const add = (ox, oy, there) => {
      const a = i + ox, b = j + oy;
      if (!there || a < 0 || b < 0 || a >= nx || b >= ny || !house[a * ny + b]) return;
      const w = size(dx, i + sx - ox) * size(dy, j + sy - oy);
      total += w * p[a * ny + b];
      weight += w;
    };
    add(0, 0, true); add(sx, 0, bx); add(0, sy, by); add(sx, sy, both);
    return total / weight;
  }

  function coverage(p, threshold) {
    let covered = 0, whole = 0;
    for (let i = 0; i < nx; i++) for (let j = 0; j < ny; j++) {
      const c = i * ny + j;
      if (!house[c]) continue;
      const at = [[-1, -1], [1, -1], [1, 1], [-1, 1]].map(([sx, sy]) => corner(p, i, j, sx, sy));
      let share = 0;
      for (let k = 0; k < 4; k++) share += 0.25 * shareBelow(p[c], at[k], at[(k + 1) % 4], -threshold);
      covered += share * dx[i] * dy[j];
      whole += dx[i] * dy[j];
    }
    return covered / whole;
  }

  function places(edges, wanted, side) { // fractional index of both edges of each patch
    const along = (v) => {
      let i = 0;
      while (i < edges.length - 2 && v > edges[i + 1]) i++;
      return i + Math.min(Math.max((v - edges[i]) / (edges[i + 1] - edges[i]), 0), 1);
    };
    return wanted.map((v) => [along(v), along(v + side)]);
  }
  const px = places(data.x, data.patch.x, data.patch.side);
  const py = places(data.y, data.patch.y, data.patch.side);

  function patchSums(values) {
    const table = new Float64Array((nx + 1) * (ny + 1));
    for (let i = 0; i < nx; i++) for (let j = 0; j < ny; j++) {
      const v = values[i * ny + j] * dx[i] * dy[j];
      table[(i + 1) * (ny + 1) + j + 1] = v + table[i * (ny + 1) + j + 1]
        + table[(i + 1) * (ny + 1) + j] - table[i * (ny + 1) + j];
    }
    const row = (at) => {
      const i = Math.min(Math.floor(at), nx - 1), part = at - i, out = new Float64Array(ny + 1);
      for (let j = 0; j <= ny; j++) {
        const a = table[i * (ny + 1) + j], b = table[(i + 1) * (ny + 1) + j];
        out[j] = a + part * (b - a);
      }
      return out;
    };
    const pick = (line, at) => {
      const j = Math.min(Math.floor(at), ny - 1), part = at - j;
      return line[j] + part * (line[j + 1] - line[j]);
    };
    return px.map(([low, high]) => {
      const a = row(low), b = row(high), line = b.map((v, j) => v - a[j]);
      return py.map(([from, to]) => pick(line, to) - pick(line, from));
    });
  }
  const airArea = patchSums(Float64Array.from(house));

  function worst(p) {
    const sums = patchSums(p.map((v, c) => (house[c] ? v : 0)));
    let best = -Infinity, at = [0, 0];
    for (let i = 0; i < px.length; i++) for (let j = 0; j < py.length; j++) {
      if (!usable[i * py.length + j]) continue;
      const mean = sums[i][j] / airArea[i][j];
      if (mean > best) { best = mean; at = [i, j]; }
    }
    const half = 0.5 * data.patch.side;
    return { margin: -best - data.pass_line, x: data.patch.x[at[0]] + half, y: data.patch.y[at[1]] + half };
  }

  function shown(value) {
    const size = Math.abs(value);
    const text = value.toFixed(size < 1 ? 2 : size < 10 ? 1 : 0);
    return Number(text) === 0 ? text.replace("-", "") : text;
  }
  const percent = (share) => `${Math.floor(100 * share + 1e-9)} %`;

  const form = document.getElementById("controls");
  const field = (name) => form.elements[name];
  let condition = data.first;

  function readState() {
    const now = data.conditions[condition], references = {};
    const outdoors = Number(field("outdoors").value);
    for (const [name, one] of Object.entries(now.references)) {
      references[name] = one.moves ? one.pressure + outdoors - now.outdoors : one.pressure;
    }
    const vacuums = {}, capped = {};
    data.points.forEach((name, i) => {
      vacuums[name] = Number(field(`vacuum${i}`).value);
      capped[name] = field(`cap${i}`).checked;
    });
    return { references, vacuums, capped };
  }

  function setState(name) {
    condition = name;
    const now = data.conditions[name];
    field("outdoors").value = now.outdoors;
    if (now.stack) field("temperature").value = (now.stack.outdoor - 273.15).toFixed(1);
    field("temperature").disabled = !now.stack;
    data.points.forEach((point, i) => {
      const vacuum = -now.pressures[point], slider = field(`vacuum${i}`);
      slider.max = Math.max(1000, Math.ceil(1.5 * vacuum));
      slider.value = vacuum;
      field(`cap${i}`).checked = now.capped.includes(point);
    });
    update();
  }

  const steps = [1, 3, 10, 30, 100, 300];
  const tones = ["#27364f", "#46536a", "#6b7285", "#94947f", "#bfb27d", "#e6d47c"];
  function paint(p) {
    const canvas = document.getElementById("map"), pen = canvas.getContext("2d");
    const { width, height } = canvas;
    const w = data.x[nx] - data.x[0], view = canvas.dataset;
    const left = Number(view.left), top = Number(view.top), scale = width / Number(view.wide);
    pen.clearRect(0, 0, width, height);
    for (let i = 0; i < nx && w > 0; i++) for (let j = 0; j < ny; j++) {
      const c = i * ny + j;
      if (!house[c]) continue;
      const x0 = (data.x[i] - left) * scale, x1 = (data.x[i + 1] - left) * scale;
      const y0 = (top - data.y[j + 1]) * scale, y1 = (top - data.y[j]) * scale;
      let tone = -1;
      while (tone + 1 < steps.length && -p[c] >= steps[tone + 1]) tone++;
      pen.fillStyle = tone < 0 ? "#ffffff" : tones[tone];
      pen.fillRect(x0, y0, x1 - x0 + 0.6, y1 - y0 + 0.6);
      if (tone < 0) { // hatched where it fails, so that grey paper shows it too
        pen.strokeStyle = "#777"; pen.lineWidth = 1; pen.beginPath();
        pen.moveTo(x0, y1); pen.lineTo(x1, y0); pen.stroke();
      }
    }
  }

  function update() {
    const state = readState(), u = portU(state), p = pressures(u), low = worst(p);
    const say = (id, text) => { document.getElementById(id).textContent = text; };
    say("margin", shown(low.margin));
    say("verdict", low.margin >= 0 ? "holds" : "does not hold");
    say("covered1", percent(coverage(p, 1)));
    say("covered5", percent(coverage(p, 5)));
    say("outdoors-now", shown(Number(field("outdoors").value)));
    data.points.forEach((name, i) => {
      const k = data.ports.indexOf(name);
      const flow = -data.matrix[k].reduce((s, y, j) => s + y * u[j], 0);
      say(`vacuum-now${i}`, `${(-toP(u[k]) / 249.08891).toFixed(2)} in. w.c.`);
      say(`flow-now${i}`, `${(flow * 2118.880003).toFixed(2)} cfm`);
    });
    Object.entries(data.holes).forEach(([name, parts], i) => {
      const text = parts.length ? shown(parts.reduce((s, [c, w]) => s + w * p[c], 0)) : "no air";
      say(`hole-now${i}`, text);
    });
    const mark = document.getElementById("worst-mark");
    if (mark) mark.setAttribute("transform", `translate(${low.x} ${-low.y})`);
    paint(p);
  }

  document.documentElement.classList.add("live");
  form.addEventListener("input", (event) => {
    const now = data.conditions[condition];
    if (event.target.name === "temperature" && now.stack) {
      const t = Number(field("temperature").value) + 273.15, s = now.stack;
      field("outdoors").value = (atm * 9.80665 / 287.05) * s.height * (1 / t - 1 / s.room) + s.added;
    }
    if (event.target.name === "condition") setState(event.target.value); else update();
  });
  form.addEventListener("submit", (event) => event.preventDefault());
  document.getElementById("back").addEventListener("click", () => setState(condition));
  setState(condition);
})();
