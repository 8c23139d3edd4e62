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
  const house = bits(data.house, columns), room = bytes(data.room);
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

  // Small, symmetric and semidefinite: elimination. A point that no air path ties to anything
  // has nothing left on its diagonal, and rests at the room's pressure.
  function solve(matrix, right) {
    const n = right.length, a = matrix.map((row, i) => [...row, right[i]]);
    for (let k = 0; k < n; k++) {
      if (!(a[k][k] > 1e-12 * matrix[k][k])) { a[k].fill(0); a[k][k] = 1; }
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

  // Where two places are alike, in a house that is its own mirror image, the solver's stands.
  function worst(p, solved) {
    const sums = patchSums(p.map((v, c) => (house[c] ? v : 0)));
    let best = -Infinity, at = [0, 0];
    for (let i = 0; i < px.length; i++) for (let j = 0; j < py.length; j++) {
      if (!usable[i * py.length + j]) continue;
      const mean = sums[i][j] / airArea[i][j];
      if (mean > best) { best = mean; at = [i, j]; }
    }
    const half = 0.5 * data.patch.side, near = (v, w) => Math.abs(v + half - w) < 1e-6;
    const i = data.patch.x.findIndex((v) => near(v, solved[0]));
    const j = data.patch.y.findIndex((v) => near(v, solved[1]));
    if (i >= 0 && j >= 0 && sums[i][j] / airArea[i][j] > best - 1e-4) at = [i, j];
    return { margin: -best - data.pass_line, x: data.patch.x[at[0]] + half, y: data.patch.y[at[1]] + half };
  }

  // Numbers as the library writes them.
  function figures(value, digits) {
    const rounded = Number(value.toPrecision(digits));
    if (Math.abs(rounded) < 1e-4) return "0";
    const power = Number(rounded.toExponential().split("e")[1]);
    return rounded.toFixed(Math.max(0, digits - 1 - power));
  }
  const unsigned = (text) => (Number(text) === 0 ? text.replace("-", "") : text);
  const pa = (p) => `${unsigned(Math.abs(p) < 0.1 ? p.toFixed(2) : figures(p, 2))} Pa`;
  function wc(p, digits = 3) {
    const inches = p / data.units.wc;
    const text = Math.abs(inches) < 0.1 ? inches.toFixed(3) : figures(inches, digits);
    return `${unsigned(text)} in. w.c.`;
  }
  const both = (p) => `${pa(p)} (${wc(p, 2)})`;
  function cfm(flow) {
    const feet = flow / data.units.cfm;
    if (feet > 0 && feet < 0.01) return "under 0.01 cfm";
    return `${figures(feet, Math.abs(feet) >= 1 ? 3 : 2)} cfm`;
  }
  const percent = (share) => `${Math.floor(100 * share + 1e-9)} %`;
  const feet = (m) => `${(m / data.units.foot).toFixed(1)} ft`;

  const form = document.getElementById("controls");
  const field = (name) => form.elements[name];
  const say = (id, text) => { document.getElementById(id).textContent = text; };
  let condition = data.first, outdoors = 0;

  function readState() {
    const now = data.conditions[condition], references = {};
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

  // What a reader types counts once it makes sense; until then the last that did stands.
  function typed(input, low, high) {
    const value = Number(input.value);
    const good = input.value.trim() !== "" && value >= low && value <= high;
    input.setAttribute("aria-invalid", String(!good));
    return good ? value : NaN;
  }

  function takeTemperature(stack) {
    const fahrenheit = typed(field("temperature"), -80, 140);
    if (Number.isNaN(fahrenheit)) return;
    const kelvin = (fahrenheit - 32) / 1.8 + 273.15;
    outdoors = stack.factor * (1 / kelvin - 1 / stack.room) + stack.added;
    field("outdoors").value = outdoors.toFixed(2);
    field("outdoors").setAttribute("aria-invalid", "false");
  }

  function takePressure() {
    const pressure = typed(field("outdoors"), -200, 200);
    if (!Number.isNaN(pressure)) outdoors = pressure;
  }

  function setState(name) {
    condition = name;
    const now = data.conditions[name];
    outdoors = now.outdoors;
    field("condition").value = name;
    field("outdoors").value = outdoors.toFixed(2);
    field("temperature").disabled = !now.stack;
    document.getElementById("stated").hidden = Boolean(now.stack);
    field("temperature").value = now.stack ? (1.8 * (now.stack.outdoor - 273.15) + 32).toFixed(1) : "";
    for (const input of [field("outdoors"), field("temperature")]) input.setAttribute("aria-invalid", "false");
    data.points.forEach((point, i) => {
      const vacuum = -now.pressures[point], slider = field(`vacuum${i}`);
      slider.min = Math.min(0, Math.floor(vacuum));
      slider.max = Math.max(1000, Math.ceil(1.5 * vacuum));
      slider.value = vacuum;
      field(`cap${i}`).checked = now.capped.includes(point);
    });
    update();
  }

  function tone(suction) {
    let step = -1;
    while (step + 1 < data.steps.length && suction >= data.steps[step + 1]) step++;
    return step;
  }

  function paint(p) {
    const canvas = document.getElementById("map"), pen = canvas.getContext("2d");
    const { width, height } = canvas, view = canvas.dataset;
    const left = Number(view.left), top = Number(view.top), scale = width / Number(view.wide);
    const atX = (i) => (data.x[i] - left) * scale, atY = (j) => (top - data.y[j]) * scale;
    const tones = new Int8Array(columns).fill(-2), line = new Path2D(), hatch = new Path2D();
    pen.clearRect(0, 0, width, height);
    for (let i = 0; i < nx; i++) for (let j = 0; j < ny; j++) {
      const c = i * ny + j;
      if (room[c] === 255) continue;
      tones[c] = tone(-p[c]);
      const x0 = atX(i), y0 = atY(j + 1), wide = atX(i + 1) - x0, high = atY(j) - y0;
      pen.fillStyle = tones[c] < 0 ? "#ffffff" : data.tones[tones[c]];
      pen.fillRect(x0, y0, wide + 0.6, high + 0.6);
      if (tones[c] === -1) hatch.rect(x0, y0, wide, high);
      const beside = (other, a, b, d, e) => {
        if (tones[other] > -2 && tones[other] < 0 !== tones[c] < 0) { line.moveTo(a, b); line.lineTo(d, e); }
      };
      if (i > 0) beside(c - ny, x0, y0, x0, y0 + high);
      if (j > 0) beside(c - 1, x0, y0 + high, x0 + wide, y0 + high);
    }
    pen.save(); // hatched where it fails, so that grey paper and every eye see it
    pen.clip(hatch);
    pen.strokeStyle = "#777"; pen.lineWidth = 1.5; pen.beginPath();
    for (let x = -height; x < width; x += 16) { pen.moveTo(x, height); pen.lineTo(x + height, 0); }
    pen.stroke();
    pen.restore();
    pen.strokeStyle = "#1b1b1b"; pen.lineWidth = 4; pen.lineCap = "square";
    pen.stroke(line);
  }

  function update() {
    const state = readState(), u = portU(state), p = pressures(u), low = worst(p, data.conditions[condition].worst);
    say("verdict", low.margin >= 0 ? "holds" : "does not hold");
    say("margin", `${both(Math.abs(low.margin))} ${low.margin >= 0 ? "to spare" : "short"}`);
    say("worst-at", `${feet(low.x - data.x[0])} from the westmost and ${feet(low.y - data.y[0])} from the southmost wall`);
    say("covered1", percent(coverage(p, 1)));
    say("covered5", percent(coverage(p, 5)));
    say("outdoors-now", pa(outdoors));
    data.points.forEach((name, i) => {
      const k = data.ports.indexOf(name);
      const flow = state.capped[name] ? 0 : -data.matrix[k].reduce((s, y, j) => s + y * u[j], 0);
      const vacuum = wc(-toP(u[k])), slider = field(`vacuum${i}`);
      slider.disabled = state.capped[name];
      slider.setAttribute("aria-valuetext", vacuum);
      say(`vacuum-now${i}`, vacuum);
      say(`flow-now${i}`, cfm(flow));
    });
    Object.values(data.holes).forEach((parts, i) => {
      say(`hole-now${i}`, parts.length ? both(parts.reduce((s, [c, w]) => s + w * p[c], 0)) : "no air");
    });
    document.getElementById("worst-mark").setAttribute("transform", `translate(${low.x} ${-low.y})`);
    const own = u.map(toP);
    paint(p.map((v, c) => (room[c] === 255 ? v : v - own[room[c]])));
  }

  document.documentElement.classList.add("live");
  form.addEventListener("input", (event) => {
    const { name, value } = event.target, { stack } = data.conditions[condition];
    if (name === "condition") { setState(value); return; }
    if (name === "temperature" && stack) takeTemperature(stack);
    if (name === "outdoors") takePressure();
    update();
  });
  form.addEventListener("submit", (event) => event.preventDefault());
  document.getElementById("back").addEventListener("click", () => setState(condition));
  setState(condition);
})();
