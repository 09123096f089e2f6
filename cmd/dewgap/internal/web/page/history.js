
"use strict";
(() => {
const $ = id => document.getElementById(id);
const HOUR = 3600e3;
let us = null, data = null, other = null, plots = [], asked = 0;
let view = { from: 0, to: 0 };          // ms; to 0: up to the newest row
let offset = 0;                         // ms from the other span to this one; 0: none
let groups = [];

const el = (name, text, cls) => { const e = document.createElement(name); if (text != null) e.textContent = text; if (cls) e.className = cls; return e; };
let tints = {};                         // asking for a style is slow, and a plot has thousands of shades
const tint = name => tints[name] ??= getComputedStyle(document.documentElement).getPropertyValue(name).trim();
const when = ms => new Date(ms).toLocaleString([], { year: "numeric", month: "short", day: "2-digit", hour: "2-digit", minute: "2-digit" });
const unitOf = { K: () => us ? "°F" : "K", degC: () => us ? "°F" : "°C", Pa: () => us ? "psia" : "bar abs" };
function shown(v, unit) {
  if (v == null) return null;
  if (unit === "K") return us ? v * 1.8 : v;
  if (unit === "degC") return us ? v * 1.8 + 32 : v;
  return us ? v / 6894.757 : v / 1e5;
}
const said = (v, unit) => v == null ? "not known" : shown(v, unit).toFixed(unit === "Pa" ? 2 : 1);
const words = { superheat: "superheat", floor: "floor", dew: "dew", suction_temperature: "line", suction_pressure: "suction pressure", discharge_temperature: "discharge", coil_superheat: "coil superheat", air_over_dew: "air over dew" };

async function ask(path) {
  const r = await fetch(path);
  if (!r.ok) throw new Error((await r.text()).trim());
  return r.json();
}
const spanPath = (from, to) => "/api/v1/history?from=" + new Date(from).toISOString() + "&to=" + new Date(to).toISOString() + "&group=" + encodeURIComponent($("group").value) + "&units=" + (us ? "us" : "si");

async function load() {
  const mine = ++asked;
  $("said").textContent = "reading…";
  try {
    const got = await ask(spanPath(view.from, view.to));
    const laid = offset ? await ask(spanPath(view.from - offset, view.to - offset)) : null;
    if (mine !== asked) return;
    data = got; other = laid;
    location.replace("#" + new URLSearchParams({ from: new Date(view.from).toISOString(), to: new Date(view.to).toISOString(), group: $("group").value }));
    draw();
    const rows = data.rows.filter(n => n > 0).length;
    $("said").textContent = when(view.from) + " to " + when(view.to) + ", a step is " + stepText(data.step_seconds) + ". " +
      (rows ? "" : "Nothing was recorded in this span. ") + (rows && rows < data.steps ? "Of " + data.steps + " steps " + rows + " hold something. " : "") +
      (other ? "Over it, in another colour: " + when(view.from - offset) + " on." : "");
    $("said").className = "";
  } catch (e) {
    if (mine !== asked) return;
    $("said").textContent = "This cannot be shown: " + e.message;
    $("said").className = "bad";
  }
  for (const b of document.querySelectorAll("[data-hours]")) b.setAttribute("aria-pressed", Math.abs(b.dataset.hours * HOUR - (view.to - view.from)) < 60e3);
}
const stepText = s => s < 3600 ? s / 60 + " min" : s / 3600 + " h";

const same = (a, b) => a.group === b.group && (a.compressor || "") === (b.compressor || "") && (a.circuit || "") === (b.circuit || "");
const find = (all, of, value) => all.find(s => same(s, of) && s.value === value);
const most = track => data.rows.map((_, n) => { // the kind that lasted longest; rare ones win so that none is hidden
  let best = "", length = 0;
  track.kinds.forEach((k, i) => { const s = track.seconds[i][n] * (/defrost|drip|pulldown/.test(k) ? 3 : 1); if (s > length) { best = k; length = s; } });
  return best;
});
const shade = { defrost: "--thaw", defrosting: "--thaw", dripping: "--thaw", pulldown: "--pull", off: "--idle", unknown: "--idle" };

function draw() {
  for (const p of plots) p.destroy();
  plots = [];
  tints = {};
  const place = $("plots"); place.textContent = "";
  for (const track of data.tracks) place.append(plotOf(track));
  marks();
}

function plotOf(track) {
  const box = el("section", null, "plot"), name = track.group + " " + (track.compressor || track.circuit);
  const main = track.compressor ? "superheat" : "coil_superheat", title = name + ": " + words[main];
  box.append(el("h2", title));
  const held = el("div"); box.append(held);
  const key = el("p", null, "legend");
  for (const [c, t] of track.compressor ? [["thaw", "defrost in the group"], ["pull", "pulldown"], ["off", "off or unknown"], ["mark", "event"]] : [["thaw", "defrost and drip"], ["pull", "pulldown"], ["off", "unknown"], ["mark", "event"]]) key.append(el("i", null, c), t);
  key.append(track.compressor ? " · broken line: floor" : " · broken line: air over dew");
  box.append(key);
  const at = el("p", "Point at the plot to read all values.", "at"); box.append(at);
  const times = data.rows.map((_, n) => Date.parse(data.from) / 1000 + n * data.step_seconds);
  const s = find(data.values, track, main), f = find(data.values, track, "floor"), second = track.circuit && find(data.values, track, "air_over_dew");
  const o = other && find(other.values, track, main);
  const of = (c, col) => c ? times.map((_, n) => shown(c[col][n], "K")) : times.map(() => null);
  const kinds = most(track);
  const events = data.events.filter(e => e.group === track.group && (track.compressor ? e.compressor === track.compressor : (e.circuits || []).length && e.circuits[0].circuit === track.circuit));
  const columns = [times, of(s, "max"), of(s, "min"), of(s, "mean"), of(track.compressor ? f : second, "mean"), of(o, "mean")];
  const days = view.to - view.from > 60 * HOUR, clock = t => new Date(t * 1000);
  const timeText = (u, all) => all.map((t, i) => days || i === 0 || clock(t).getDate() !== clock(all[i - 1]).getDate()
    ? clock(t).toLocaleDateString([], { month: "short", day: "numeric" }) + (days && clock(t).getHours() === 0 ? "" : "\n" + hourText(t)) : hourText(t));
  const hourText = t => clock(t).toTimeString().slice(0, 5);
  const axis = { stroke: tint("--soft"), grid: { stroke: tint("--rule"), width: 1 }, ticks: { stroke: tint("--rule") } };
  const u = new uPlot({
    width: Math.max(240, $("plots").clientWidth - 26), height: track.compressor ? 220 : 150,
    legend: { show: false }, cursor: { drag: { x: true, y: false, setScale: false }, sync: { key: "time" } },
    scales: { x: { min: view.from / 1000, max: view.to / 1000 } },
    axes: [{ ...axis, values: timeText, space: 64, size: 44 }, { ...axis, label: unitOf.K(), labelSize: 18, size: 46 }],
    bands: [{ series: [1, 2], fill: tint("--band") }],
    series: [{}, { stroke: "transparent", points: { show: false } }, { stroke: "transparent", points: { show: false } },
      { stroke: tint("--dry"), width: 1.5 },
      { stroke: tint(track.compressor ? "--wet" : "--near"), width: 1, dash: [6, 4], points: { show: false } },
      { stroke: tint("--other"), width: 1.5, dash: [2, 3], points: { show: false } }],
    hooks: {
      drawClear: [u => {
        const { left, top, width, height } = u.bbox, c = u.ctx;
        c.save();
        c.beginPath(); c.rect(left, top, width, height); c.clip();
        times.forEach((t, n) => track.kinds.forEach((k, i) => { // each kind has its share of the step
          const from = t;
          t += track.seconds[i][n];
          if (!shade[k] || t === from) return;
          const a = u.valToPos(from, "x", true);
          c.fillStyle = tint(shade[k]); c.fillRect(a, top, u.valToPos(t, "x", true) - a, height);
        }));
        c.fillStyle = tint("--wet");
        for (const e of events) {
          const a = u.valToPos(Date.parse(e.began || e.opened) / 1000, "x", true), b = u.valToPos((e.closed ? Date.parse(e.closed) : view.to) / 1000, "x", true);
          c.fillRect(a, top, Math.max(3 * devicePixelRatio, b - a), 7 * devicePixelRatio);
        }
        c.restore();
      }],
      setCursor: [u => read(u.cursor.idx)],
      setSelect: [u => { if (u.select.width > 8) zoom(u.posToVal(u.select.left, "x") * 1000, u.posToVal(u.select.left + u.select.width, "x") * 1000); }],
    },
  }, columns, held);
  plots.push(u);
  function read(n) {
    if (n == null) return;
    at.textContent = "";
    at.append(el("b", when(times[n] * 1000)), data.rows[n] ? " · " + track.kinds.map((k, i) => [k, track.seconds[i][n]]).filter(x => x[1] > 0).map(x => x[0] + " " + Math.round(x[1] / 60 * 10) / 10 + " min").join(", ") : " · nothing recorded");
    for (const v of data.values) if (same(v, track)) at.append(" · " + words[v.value] + " ", el("b", said(v.mean[n], v.unit)), v.mean[n] == null ? "" : " (" + said(v.min[n], v.unit) + " to " + said(v.max[n], v.unit) + ") " + unitOf[v.unit]());
    if (o) at.append(" · on the other span ", el("b", said(o.mean[n], "K")));
  }
  box.append(tableOf(track, title, times, kinds));
  return box;
}

// tableOf holds the same as the plot, for those who do not see it; it is filled when
// opened, and stays open when its plot is drawn anew.
const unfolded = new Set();
function tableOf(track, title, times, kinds) {
  const d = el("details"); d.append(el("summary", "The same as a table"));
  d.addEventListener("toggle", () => {
    if (d.open) unfolded.add(title); else unfolded.delete(title);
    if (!d.open || d.children.length > 1) return;
    const t = el("table"), mine = data.values.filter(v => same(v, track)), head = el("tr");
    t.append(el("caption", title + ", lowest / mean / highest of each step"));
    for (const h of ["time", track.compressor ? "phase" : "stage", ...mine.map(v => words[v.value] + ", " + unitOf[v.unit]())]) { const th = el("th", h); th.scope = "col"; head.append(th); }
    const top = el("thead"), body = el("tbody"); top.append(head); t.append(top, body);
    times.forEach((at, n) => {
      if (!data.rows[n]) return;
      const r = el("tr"), th = el("th", when(at * 1000)); th.scope = "row";
      r.append(th, el("td", kinds[n] || "not known"), ...mine.map(v => el("td", v.mean[n] == null ? "not known" : [v.min, v.mean, v.max].map(c => said(c[n], v.unit)).join(" / "))));
      body.append(r);
    });
    const s = el("div", null, "scroll"); s.tabIndex = 0; s.setAttribute("role", "region"); s.setAttribute("aria-label", title); s.append(t); d.append(s);
  });
  d.open = unfolded.has(title);
  return d;
}

function marks() {
  const place = $("marks"); place.textContent = "";
  if (!data.events.length) { place.append(el("p", "None.", "soft")); return; }
  if (data.left_out) place.append(el("p", data.left_out + " older events are left out: look closer.", "soft"));
  const list = el("ul");
  for (const e of data.events.slice().reverse()) {
    const li = el("li"), a = el("a", when(Date.parse(e.began || e.opened)));
    a.href = "/events/" + encodeURIComponent(e.id);
    li.append(a, " " + [e.group, e.compressor].filter(Boolean).join(" ") + ": " + e.kind.replaceAll("_", " ") + ", " + e.severity + (e.closed ? "" : ", still open"));
    list.append(li);
  }
  place.append(list);
}

const LEAST = 10 * 60e3, MOST = 400 * 24 * HOUR;
function zoom(from, to) {
  if (to - from < LEAST) { const m = (from + to) / 2; from = m - LEAST / 2; to = m + LEAST / 2; }
  if (to - from > MOST) from = to - MOST;
  view = { from: Math.round(from), to: Math.round(to) };
  load();
}
const scale = by => { const m = (view.from + view.to) / 2, h = (view.to - view.from) * by / 2; zoom(m - h, m + h); };
for (const b of document.querySelectorAll("[data-hours]")) b.onclick = () => zoom(view.to - b.dataset.hours * HOUR, view.to);
for (const b of document.querySelectorAll("[data-move]")) b.onclick = () => { const by = (view.to - view.from) * b.dataset.move; zoom(view.from + by, view.to + by); };
$("closer").onclick = () => scale(.5);
$("wider").onclick = () => scale(2);
$("group").onchange = load;
$("span").onsubmit = e => e.preventDefault();
$("other").onchange = () => { const t = Date.parse($("other").value); offset = t ? view.from - t : 0; $("alone").hidden = !offset; load(); };
$("alone").onclick = () => { offset = 0; $("other").value = ""; $("alone").hidden = true; load(); };
function unitsButton() { $("units").textContent = us ? "°F · psi" : "K · °C · bar"; $("units").setAttribute("aria-label", "Switch between SI and US units"); }
$("units").onclick = () => { us = !us; unitsButton(); load(); };
let resizing;
addEventListener("resize", () => { clearTimeout(resizing); resizing = setTimeout(() => { for (const p of plots) p.setSize({ width: Math.max(240, $("plots").clientWidth - 26), height: p.height }); }, 150); });
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => data && draw());

(async () => {
  const start = new URLSearchParams(location.hash.slice(1));
  try {
    const state = await ask("/api/v1/state");
    us = state.units === "us";
    groups = state.groups.map(g => g.group);
    for (const g of groups) { const o = el("option", g); o.value = g; $("group").append(o); }
    if (groups.includes(start.get("group"))) $("group").value = start.get("group");
    document.title = state.site + ": the past";
    document.querySelector("h1").textContent = state.site + ": the past";
    const to = Date.parse(start.get("to")) || (state.time ? Date.parse(state.time) + 1000 : Date.now());
    view = { from: Date.parse(start.get("from")) || to - 24 * HOUR, to };
    unitsButton();
    await load();
  } catch (e) { $("said").textContent = "This cannot be shown: " + e.message; $("said").className = "bad"; }
})();
})();
