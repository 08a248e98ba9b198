(() => {
"use strict";
const $ = (id) => document.getElementById(id);
const D = JSON.parse($("data").textContent);
const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
const L = 30, R = 163, T = 8, F = 352, MOST = 700;
const axes = {};
for (const [k, [low, high]] of Object.entries(D.axes)) axes[k] = {low, high, a: k === "z" ? F : L, b: k === "z" ? T : R};
const at = (x, v) => x.a + (v - x.low) * (x.b - x.a) / (x.high - x.low);
const clip = (v, a, b) => Math.min(Math.max(v, a), b);
const within = (x, v) => clip(at(x, v), Math.min(x.a, x.b), Math.max(x.a, x.b));
const f1 = (v) => v.toFixed(1);
const num = (v) => {
  const a = Math.abs(v), text = a < 1e-4 ? "0" : a >= 100 ? String(Math.round(a)) : String(+a.toPrecision(2));
  return (v < 0 && text !== "0" ? "−" : "") + text;
};
const put = (id, name, value) => { const e = $(id); if (e) e.setAttribute(name, value); };
const say = (id, text) => { const e = $(id); if (e) e.textContent = text; };

// ---- numbers ----
for (const r of D.runs) {
  r.top = new Float32Array(bytes(r.top).buffer);
  r.poses = r.poses.map(([scale, text]) => {
    const raw = new Int16Array(bytes(text).buffer);
    return scale.map((s, b) => Float64Array.from(raw.subarray(b * r.n, (b + 1) * r.n), (v) => v * s / 32767));
  });
  if (r.spread) r.spread[1] = bytes(r.spread[1]);
}
const dot = (map, pose, n) => { let s = 0; for (let b = 0; b < map.length; b++) s += map[b] * pose[b][n]; return s; };
const errorsAt = (r, pose, place) => {
  const [h, fx, fy, ax, ay] = r.maps[place], e = {x: [], y: [], h: []};
  for (let n = 0; n < r.n; n++) {
    const up = r.top[n] / 1000;
    e.x.push(dot(fx, pose, n) + up * dot(ax, pose, n));
    e.y.push(dot(fy, pose, n) + up * dot(ay, pose, n));
    e.h.push(dot(h, pose, n));
  }
  return e;
};
const halfWidth = (r, n) => r.line / 2 / (n ? r.top[n] - r.top[n - 1] : r.top[0]);
const reliefOf = (r, e) => e.x.map((x, n) =>
  halfWidth(r, n) * (n ? e.h[n] - e.h[n - 1] : 0) - state.nx * x - state.ny * e.y[n]);
const spreadOf = (r, place) => {
  const none = {x: new Float64Array(r.n), y: new Float64Array(r.n), h: new Float64Array(r.n), relief: new Float64Array(r.n)};
  if (!r.spread) return none;
  const [scale, data] = r.spread;
  for (let n = 0; n < r.n; n++) {
    const v = (k) => data[(place * 7 + k) * r.n + n];
    const x = v(0) / 255 * scale[0], y = v(1) / 255 * scale[1], s = v(2) / 255 * scale[2];
    const xy = (v(4) - 128) / 127 * x * y, xs = (v(5) - 128) / 127 * x * s, ys = (v(6) - 128) / 127 * y * s;
    const a = -state.nx, b = -state.ny, c = halfWidth(r, n);
    none.x[n] = x; none.y[n] = y; none.h[n] = v(3) / 255 * scale[3];
    none.relief[n] = Math.sqrt(Math.max(0, a*a*x*x + 2*a*b*xy + b*b*y*y + 2*c*(a*xs + b*ys) + c*c*s*s));
  }
  return none;
};
const envelope = (v, z, turn) => {
  const low = [], high = [];
  for (let n = 0, a = 0, b = 0; n < v.length; n++) {
    while (z[a] < z[n] - turn / 2) a++;
    while (b < v.length && z[b] <= z[n] + turn / 2) b++;
    let lo = Infinity, hi = -Infinity;
    for (let i = a; i < b; i++) { if (v[i] < lo) lo = v[i]; if (v[i] > hi) hi = v[i]; }
    low.push(lo); high.push(hi);
  }
  return [low, high];
};
const extent = (v) => Math.max(...v) - Math.min(...v);

// ---- shapes ----
const points = (x, y) => x.length ? "M" + x.map((v, i) => f1(v) + " " + f1(y[i])).join("L") : "";
const thinned = (x, y) => {
  if (x.length <= MOST) return [x, y];
  const px = [], py = [];
  for (let a = 0; a < x.length;) {
    let b = a, lo = a, hi = a;
    for (const bin = Math.floor(2 * y[a]); b < x.length && Math.floor(2 * y[b]) === bin; b++) {
      if (x[b] < x[lo]) lo = b;
      if (x[b] > x[hi]) hi = b;
    }
    for (const i of lo === hi ? [lo] : [Math.min(lo, hi), Math.max(lo, hi)]) { px.push(x[i]); py.push(y[i]); }
    a = b;
  }
  return [px, py];
};
const area = (low, high, y) => {
  if (y.length > MOST) {
    const l = [], h = [], py = [];
    for (let i = 0; i < y.length; i++) {
      const k = py.length - 1;
      if (k >= 0 && Math.floor(2 * py[k]) === Math.floor(2 * y[i])) {
        l[k] = Math.min(l[k], low[i]); h[k] = Math.max(h[k], high[i]);
      } else { l.push(low[i]); h.push(high[i]); py.push(y[i]); }
    }
    [low, high, y] = [l, h, py];
  }
  return points([...low, ...high.slice().reverse()], [...y, ...y.slice().reverse()]) + "Z";
};
const ticks = (low, high, most) => {
  const span = high - low, base = 10 ** Math.floor(Math.log10(span / most));
  const step = base * [1, 2, 5, 10].find((k) => span / (base * k) <= most);
  const found = [];
  for (let k = Math.ceil(low / step - 1e-9); k <= Math.floor(high / step + 1e-9); k++) found.push(+(k * step).toPrecision(12));
  return found;
};

// ---- state ----
const first = D.runs[0];
const state = {probe: first.probes[first.probe], wall: D.normal, span: 0, lamp: D.lamp, z: first.top[first.layer],
  mag: first.mag.slice()};
for (const r of D.runs) { state.mag[0] = Math.min(state.mag[0], r.mag[0]); state.mag[1] = Math.min(state.mag[1], r.mag[1]); }
const zmax = axes.z.high;
const layerAt = (r) => {
  let best = 0;
  for (let n = 1; n < r.n; n++) if (Math.abs(r.top[n] - state.z) < Math.abs(r.top[best] - state.z)) best = n;
  return best;
};
const work = (r) => {
  const p = Math.max(0, r.probes.indexOf(state.probe));
  r.p = p;
  r.e = errorsAt(r, r.poses[0], p);
  r.relief = reliefOf(r, r.e);
  r.parts = r.poses.slice(1).map((pose) => reliefOf(r, errorsAt(r, pose, p)));
  r.half = spreadOf(r, p);
};
const windowOf = () => {
  const low = state.span ? clip(state.z - state.span / 2, 0, Math.max(0, zmax - state.span)) : 0;
  return {low, high: state.span ? Math.min(low + state.span, zmax) : zmax, a: F, b: T};
};

// ---- columns ----
const heightLines = (z) => ticks(z.low, z.high, 7).map((t) =>
  `<path class="grid" d="M${L} ${f1(at(z, t))}H${R}"/><text class="tick end" x="${L - 4}" y="${f1(at(z, t) + 3.5)}">${t}</text>`).join("");
const drawCurve = (svg, v, half, x, y, z, crowded, r) => {
  const [low, high] = crowded ? envelope(v, z, r.turn) : [v, v];
  if (crowded) half = envelope(half, z, r.turn)[1];
  const px = (list) => list.map((q) => within(x, q));
  svg.querySelector(".tint").setAttribute("d", area(px(low.map((q, i) => q - half[i])), px(high.map((q, i) => q + half[i])), y));
  const line = svg.querySelector(".strong");
  line.setAttribute("class", crowded ? "strong filled" : "strong");
  line.setAttribute("d", crowded ? area(px(low), px(high), y) : points(...thinned(px(v), y)));
};
const drawColumns = (r, k) => {
  const z = windowOf(), from = r.top.findIndex((t) => t >= z.low - 1e-6), crowded = r.crowded && !state.span;
  let to = r.n;
  while (to > 0 && r.top[to - 1] > z.high + 1e-6) to--;
  const cut = (v) => Array.prototype.slice.call(v, Math.max(0, from), to);
  const top = cut(r.top), y = top.map((t) => at(z, t));
  for (const name of ["wall", "relief", "push", "x", "y", "h"]) $(`r${k}-${name}`).querySelector(".z").innerHTML = heightLines(z);
  drawCurve($(`r${k}-relief`), cut(r.relief), cut(r.half.relief), axes.relief, y, top, crowded, r);
  for (const name of ["x", "y", "h"]) {
    const svg = $(`r${k}-${name}`), thin = svg.querySelector(".thin");
    drawCurve(svg, cut(r.e[name]), cut(r.half[name]), axes[name], y, top, crowded, r);
    if (thin) thin.setAttribute("d", crowded ? "" : r.probes.map((_, p) => p === r.p ? "" :
      points(...thinned(cut(errorsAt(r, r.poses[0], p)[name]).map((v) => within(axes[name], v)), y))).join(""));
  }
  drawPushes(r, k, cut, top, y, crowded);
  drawLight(r, k, z);
};
const drawPushes = (r, k, cut, top, y, crowded) => {
  const svg = $(`r${k}-push`), size = (v) => { const [a, b] = envelope(v, top, r.turn); return a.map((q, i) => (b[i] - q) / 2); };
  const parts = r.parts.map((v) => crowded ? size(cut(v)) : cut(v));
  let left = top.map(() => 0), right = top.map(() => 0);
  const shapes = svg.querySelectorAll(".stack path"), px = (v) => v.map((q) => within(axes.push, q));
  parts.forEach((v, i) => {
    const l = v.map((q, n) => left[n] + Math.min(q, 0)), h = v.map((q, n) => right[n] + Math.max(q, 0));
    shapes[2 * i].setAttribute("d", area(px(l), px(left), y));
    shapes[2 * i + 1].setAttribute("d", area(px(right), px(h), y));
    left = l; right = h;
    say(`r${k}-part${i}`, num(extent(r.parts[i])) + " µm");
  });
  const sum = crowded ? right : cut(r.relief);
  svg.querySelector(".sum").setAttribute("d", points(...thinned(px(sum), y)));
  say(`r${k}-push-text`, crowded ? "by cause, half peak to valley per turn" : "by cause, adding up to the line");
};
const drawLight = (r, k, z) => {
  const tan = Math.tan((90 - state.lamp) * Math.PI / 180) * D.lamps[1][state.lamp - D.lamps[0]];
  const light = [], rows = [];
  for (let n = 0; n < r.n; n++) {
    const a = Math.max(0, n - 1), b = Math.min(r.n - 1, n + 1);
    const slope = b > a ? (r.relief[b] - r.relief[a]) / (r.top[b] - r.top[a]) / 1000 : 0;
    light.push(Math.max(0, 1 - slope * tan));
  }
  const low = Math.min(...light), high = Math.max(...light);
  say(`r${k}-lamp-text`, `lamp ${state.lamp}° off the wall: contrast ${num(100 * (high - low) / Math.max(high + low, 1e-9))} %`);
  for (let n = 0; n < r.n; n++) if (r.top[n] > z.low && r.top[n] <= z.high + 1e-6) rows.push(n);
  if (!rows.length) return;
  const canvas = document.createElement("canvas");
  canvas.width = 1; canvas.height = rows.length;
  const pen = canvas.getContext("2d"), pixels = pen.createImageData(1, rows.length);
  rows.forEach((n, i) => {
    const v = clip(0.6 * light[n], 0, 1), code = 255 * (v <= 0.0031308 ? 12.92 * v : 1.055 * v ** (1 / 2.4) - 0.055);
    const o = 4 * (rows.length - 1 - i);
    pixels.data[o] = pixels.data[o + 1] = pixels.data[o + 2] = Math.round(code);
    pixels.data[o + 3] = 255;
  });
  pen.putImageData(pixels, 0, 0);
  const top = at(z, r.top[rows[rows.length - 1]]), n0 = rows[0];
  const foot = at(z, Math.max(z.low, n0 ? r.top[n0 - 1] : 0));
  put(`r${k}-lit`, "href", canvas.toDataURL());
  put(`r${k}-lit`, "y", f1(top));
  put(`r${k}-lit`, "height", f1(foot - top));
};

// ---- wavelengths ----
const logx = {low: Math.log10(0.4), high: 2, a: 44, b: 410}, logy = {low: -2, high: 3, a: 232, b: 10};
const logAt = (x, v, low, high) => at(x, Math.log10(clip(v, low, high)));
const spectrumOf = (r) => {
  const n = r.n, mid = (n - 1) / 2, x = [], y = [];
  let mean = 0, rise = 0, square = 0;
  for (let i = 0; i < n; i++) mean += r.relief[i] / n;
  for (let i = 0; i < n; i++) { rise += (i - mid) * r.relief[i]; square += (i - mid) ** 2; }
  const turn = Array.from({length: n}, (_, i) => 2 * Math.PI * i / n), c = turn.map(Math.cos), s = turn.map(Math.sin);
  const v = c.map((q, i) => (r.relief[i] - mean - rise / square * (i - mid)) * (0.5 - 0.5 * q));
  for (let m = 1; m <= n / 2; m++) {
    let a = 0, b = 0;
    for (let i = 0, k = 0; i < n; i++, k = (k + m) % n) { a += v[i] * c[k]; b += v[i] * s[k]; }
    const length = (r.top[n - 1] - r.top[0]) / (n - 1) * n / m;
    if (length < 0.4 || length > 100) continue;
    x.push(logAt(logx, length, 0.4, 100)); y.push(logAt(logy, 4 * Math.hypot(a, b) / n, 1e-2, 1e3));
  }
  return points(x, y);
};
const wallWords = () => state.wall === D.normal && state.probe === first.probes[first.probe] ? D.words :
  `${+state.wall.toFixed(1)}° at ${state.probe}`;
const bandOf = (r) => {
  let best = null;
  for (const [label, length, least, low, high, waves] of r.waves) {
    const w = waves[r.p], size = Math.hypot(...[0, 1].map((i) => state.nx * w[i] + state.ny * w[2 + i] + w[4 + i]));
    if (!best || size / least > best.ratio) best = {label, length, size, low, high, ratio: size / least,
      verdict: size > high ? "seen" : size >= low ? "borderline" : "not seen"};
  }
  return best;
};
const drawSpectrum = (r, k) => {
  const svg = $(`r${k}-spectrum`), band = bandOf(r), mark = svg.querySelector(".mark"), words = wallWords();
  const told = band ? `bands every ${num(band.length)} mm (${band.label}) of ${num(band.size)} µm amplitude, ` +
    `${num(band.ratio)} times the smallest visible (${num(band.low)} to ${num(band.high)} µm): ${band.verdict}.` :
    "too low to tell bands of the leads.";
  if (words !== D.words || state.moved) {
    state.moved = true;
    svg.querySelector(".strong").setAttribute("d", r.even && r.n > 4 ? spectrumOf(r) : "");
    svg.setAttribute("aria-label", `${D.runs.length > 1 ? r.label + ": " : ""}amplitude over wavelength beside the ` +
      `smallest visible. Wall ${words}: ${told}`);
    say(`r${k}-spectrum-wall`, words);
    if (band) {
      mark.setAttribute("transform", `translate(${f1(logAt(logx, band.length, 0.4, 100))} ${f1(logAt(logy, band.size, 1e-2, 1e3))})`);
      mark.querySelector("text").textContent = band.verdict;
    }
  }
  return `${D.runs.length > 1 ? r.label + ": " : ""}Wall ${words}: ${told}`;
};

// ---- the bed ----
const W = 320, H = 300, TIP = 62, LOW = 240;
const plan = (r, x, y) => [W / 2 + (x - r.middle[0]) * r.scale, H / 2 - (y - r.middle[1]) * r.scale];
const errorAt = (r, pose, place, n) => {
  const [h, fx, fy, ax, ay] = r.maps[place], up = r.top[n] / 1000;
  return [dot(fx, pose, n) + up * dot(ax, pose, n), dot(fy, pose, n) + up * dot(ay, pose, n), dot(h, pose, n)];
};
const closed = (list) => "M" + list.map(([x, y]) => f1(x) + " " + f1(y)).join("L") + "Z";
const drawBed = (r, k) => {
  const n = layerAt(r), m = r.probes.length, [shift, lift] = state.mag, um = shift / 1000;
  const shown = (place, pose, i) => {
    const [x, y] = errorAt(r, pose, place, i);
    return plan(r, r.place[place][0] + um * x, r.place[place][1] + um * y);
  };
  put(`r${k}-plate`, "d", closed([0, 1, 2, 3].map((q) => shown(m + q, r.poses[0], n))));
  const trail = r.e.x.map((x, i) => plan(r, r.place[r.p][0] + um * x, r.place[r.p][1] + um * r.e.y[i]));
  put(`r${k}-trail`, "d", points(...thinned(trail.map((t) => t[0]), trail.map((t) => t[1]))));
  put(`r${k}-here`, "cx", f1(trail[n][0])); put(`r${k}-here`, "cy", f1(trail[n][1]));
  r.corner.forEach((c, i) => {
    if (c < 0) return;
    const [x, y] = errorAt(r, r.poses[i + 1], m + 4 + c, n), s = plan(r, ...r.place[m + 4 + c]);
    const px = um * x * r.scale, py = -um * y * r.scale, long = Math.hypot(px, py), w = Math.min(3.5, long / 2) / long;
    put(`r${k}-arrow${i}`, "d", long < 0.5 ? "" :
      closed([[s[0] - py * w, s[1] + px * w], [s[0] + py * w, s[1] - px * w], [s[0] + px, s[1] + py]]));
  });
  const tall = r.top[r.n - 1], per = (LOW - TIP - 2) / tall, level = TIP + 2 + per * r.top[n];
  const h = [0, 1, 2, 3].map((q) => errorAt(r, r.poses[0], m + q, n)[2]), up = r.scale * lift / 1000;
  const [left, right] = [m, m + 1].map((q) => f1(plan(r, ...r.place[q])[0]));
  put(`r${k}-bed`, "d", `M${left} ${f1(level - up * (h[0] + h[3]) / 2)}L${right} ${f1(level - up * (h[1] + h[2]) / 2)}`);
  put(`r${k}-level`, "d", `M${left} ${f1(level)}H${right}`);
  for (let c = 0; $(`r${k}-nut${c}`); c++) put(`r${k}-nut${c}`, "y", f1(level + 6));
  const out = [], y = [];
  for (let i = 0; i <= n; i++) { out.push(205 + clip(um * r.scale * r.relief[i], -40, 60)); y.push(level - per * r.top[i]); }
  put(`r${k}-part`, "d", `M115 ${f1(level)}H205${points(...thinned(out, y)).replace("M", "L")}H115Z`);
  say(`r${k}-mag`, shift.toLocaleString("en")); say(`r${k}-magh`, lift.toLocaleString("en"));
};
const plane = {x: {low: D.plane[0], high: D.plane[1], a: 44, b: 304}, y: {low: D.plane[0], high: D.plane[1], a: 268, b: 8}};
const drawPath = (r, k) => put(`r${k}-path`, "d",
  points(...thinned(r.e.x.map((v) => at(plane.x, v)), r.e.y.map((v) => at(plane.y, v)))));
const drawCursor = (r, k) => {
  const n = layerAt(r), z = windowOf(), y = f1(at(z, r.top[n]));
  const spots = {wall: null, relief: r.relief[n], push: r.relief[n], x: r.e.x[n], y: r.e.y[n], h: r.e.h[n]};
  for (const [name, v] of Object.entries(spots)) {
    const svg = $(`r${k}-${name}`), spot = svg.querySelector(".dot");
    svg.querySelector(".cursor").setAttribute("d", `M${L} ${y}H${R}`);
    spot.setAttribute("cx", f1(v === null ? (L + R) / 2 : within(axes[name], v)));
    spot.setAttribute("cy", y);
  }
  put(`r${k}-pathdot`, "cx", f1(at(plane.x, r.e.x[n]))); put(`r${k}-pathdot`, "cy", f1(at(plane.y, r.e.y[n])));
  return `${D.runs.length > 1 ? r.label + ": " : ""}X ${num(r.e.x[n])}, Y ${num(r.e.y[n])}, height ${num(r.e.h[n])} µm`;
};

// ---- controls ----
let wanted = 0, asked = false;
const LAYER = 1, LAMP = 2, COLUMNS = 4, ALL = 8;
const ask = (what) => {
  wanted |= what;
  if (!asked) { asked = true; requestAnimationFrame(draw); }
};
const tallest = D.runs.reduce((a, b) => b.top[b.n - 1] > a.top[a.n - 1] ? b : a);
const draw = () => {
  const what = wanted;
  wanted = 0; asked = false;
  if (what & ALL) {
    state.nx = Math.cos(state.wall * Math.PI / 180); state.ny = Math.sin(state.wall * Math.PI / 180);
    D.runs.forEach(work);
    const walls = D.runs.map(drawSpectrum);
    if (state.moved) say("wall-told", walls.join("\n"));
  }
  D.runs.forEach((r, k) => {
    if (what & (ALL | COLUMNS) || (state.span && what & LAYER)) drawColumns(r, k);
    else if (what & LAMP) drawLight(r, k, windowOf());
    if (what & ALL) drawPath(r, k);
    drawBed(r, k);
  });
  const told = D.runs.map(drawCursor), n = layerAt(tallest) + 1;
  const where = `layer ${n} of ${tallest.n}, ${+tallest.top[n - 1].toFixed(3)} mm`;
  say("layer-text", where); say("layer-errors", told.join("; "));
  $("layer").setAttribute("aria-valuetext", `${where}: ${told.join("; ")}`);
  $("lamp").setAttribute("aria-valuetext", `${state.lamp}° off the wall`);
};
const on = (id, what, change) => $(id).addEventListener("input", (event) => { change(event.target); ask(what); });
for (const e of document.querySelectorAll("[hidden]")) e.hidden = false;
$("layer").max = tallest.n - 1;
$("layer").value = layerAt(tallest);
on("layer", LAYER, (e) => { state.z = tallest.top[+e.value]; });
on("probe", ALL, (e) => { state.probe = e.value; });
on("facing", ALL, (e) => { state.wall = +e.value; });
on("span", COLUMNS, (e) => { state.span = +e.value; });
on("lamp", LAMP, (e) => { state.lamp = +e.value; });
const steps = [];
for (let d = 0; d < 6; d++) for (const s of [1, 2, 5]) steps.push(s * 10 ** d);
["mag-shift", "mag-height"].forEach((id, i) => {
  const most = i ? 1e5 : 1e4, allowed = steps.filter((s) => s <= most);
  $(id).max = allowed.length - 1;
  $(id).value = allowed.indexOf(state.mag[i]);
  on(id, LAYER, (e) => {
    state.mag[i] = allowed[+e.value];
    e.setAttribute("aria-valuetext", `${state.mag[i]} times`);
  });
  $(id).setAttribute("aria-valuetext", `${state.mag[i]} times`);
});
ask(ALL);
})();
