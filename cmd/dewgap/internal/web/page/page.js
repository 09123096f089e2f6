"use strict";
// Everything from the daemon goes into the page as text, never as markup.
const $ = (id) => document.getElementById(id);
const NS = "http://www.w3.org/2000/svg";
function el(tag, attrs, ...kids) {
  const node = document.createElement(tag);
  return fill(node, attrs, kids);
}
function svg(tag, attrs, ...kids) {
  return fill(document.createElementNS(NS, tag), attrs, kids);
}
function fill(node, attrs, kids) {
  for (const [k, v] of Object.entries(attrs || {})) if (v !== undefined && v !== null) node.setAttribute(k, v);
  for (const kid of kids.flat(Infinity)) if (kid !== null && kid !== undefined && kid !== "") node.append(kid);
  return node;
}

// Units: numbers arrive in SI; sentences arrive in the units that this page asked
// for, and numbers are shown in the same.
let us = false;
let choice = null; // what the reader chose; null: the site's
try { choice = localStorage.getItem("units"); } catch { /* storage may be barred */ }
const unitsQuery = () => choice === "us" || choice === "si" ? "?units=" + choice : "";
const known = (v) => v !== null && v !== undefined;
const fixed = (v, n) => { const t = v.toFixed(n); return (Number(t) === 0 ? (0).toFixed(n) : t).replace("-", "\u2212"); };
const difference = (k) => known(k) ? (us ? fixed(k * 1.8, 1) + " °F" : fixed(k, 1) + " K") : "—";
const temperature = (c) => known(c) ? (us ? fixed(c * 1.8 + 32, 1) + " °F" : fixed(c, 1) + " °C") : "—";
const clock = (t) => t ? t.slice(0, 10) + " " + t.slice(11, 19) + " UTC" : "—";

// For a screen on the wall: what is wrong and the figures, readable from some metres.
if (new URLSearchParams(location.search).has("large")) {
  document.body.classList.add("large");
  $("size").textContent = "everything";
  $("size").href = "/";
}

const causes = /*CAUSES*/{}; // in words; filled in by the daemon
const kinds = {
  floodback: "Floodback", flooded_start: "Flooded start", hunting: "Hunting", high_superheat: "High superheat", sensor_fault: "Sensor fault", no_data: "No data",
};
// What to check for each system of units and cause, in the technician's order; filled in by the daemon.
const checks = /*CHECKS*/{};
const cautions = /*CAUTIONS*/"";
// Those of the likeliest cause and, where it is likely enough, the one after it.
function checksOf(causes) {
  const of = checks[us ? "us" : "si"] || {};
  const likely = causes.filter((c, i) => i === 0 || (i === 1 && c.score >= 0.15)).map((c) => c.cause);
  // In turn, as everywhere: the first look for each cause before the second for any.
  const lists = (likely.length ? likely : ["unknown"]).map((c) => of[c] || of.unknown || []);
  const all = (lists[0].length > (lists[1] || []).length ? lists[0] : lists[1] || []).flatMap((_, k) => lists.map((l) => l[k]).filter(Boolean));
  return all.filter((c, i) => all.findIndex((d) => d.do === c.do) === i);
}

const shapes = {
  dry: ["circle", { cx: 8, cy: 8, r: 6.5 }], near: ["rect", { x: 2, y: 2, width: 12, height: 12 }],
  below: ["path", { d: "M8 1 15 14H1z" }], event: ["path", { d: "M8 0 16 8 8 16 0 8z" }],
  idle: ["circle", { cx: 8, cy: 8, r: 6, fill: "none", "stroke-width": 2.5 }], blind: ["path", { d: "M2 2 14 14M14 2 2 14", "stroke-width": 3 }],
};
function sign(look, words) {
  const [tag, attrs] = shapes[look];
  return el("span", { class: "sign" }, svg("svg", { viewBox: "0 0 16 16", "aria-hidden": "true" }, svg(tag, attrs)), words);
}

// How a compressor looks: never by colour alone, always with its word.
function lookOf(c, events) {
  const wet = events.find((e) => e.kind === "floodback" && e.group === c.group && e.compressor === c.compressor);
  if (wet) return ["event", "floodback, " + wet.severity];
  if (c.phase === "off") return ["idle", "off"];
  if (!known(c.superheat_k)) return ["blind", "no superheat"];
  if (!known(c.margin_k)) return ["blind", "no floor"];
  if (c.margin_k < 0) return ["below", "below floor"];
  if (known(c.expanded_uncertainty_k) && c.margin_k < c.expanded_uncertainty_k) return ["near", "near floor"];
  return ["dry", "above floor"];
}
const reasonFor = (c) => c.reason || (c.phase === "off" ? "not running: superheat has no meaning" : "");

const top_ = 30; // K, right end of the scale
function scale(c) {
  const x = (k) => 6 + 288 * Math.min(1, Math.max(0, (k + 5) / (top_ + 5)));
  const parts = [svg("rect", { class: "track", x: 6, y: 14, width: 288, height: 12 })];
  for (const k of [0, 10, 20, 30]) parts.push(svg("line", { class: "tick", x1: x(k), x2: x(k), y1: 26, y2: 30 }), svg("text", { x: x(k), y: 41, "text-anchor": "middle" }, us ? fixed(k * 1.8, 0) : String(k)));
  if (known(c.superheat_k)) {
    const u = c.expanded_uncertainty_k;
    if (known(u)) parts.push(svg("rect", { class: "band", x: x(c.superheat_k - u), y: 14, width: Math.max(0, x(c.superheat_k + u) - x(c.superheat_k - u)), height: 12 }));
    parts.push(svg("path", { class: "needle", d: `M${x(c.superheat_k)} 27l-6 -15h12z` }));
  } else parts.push(svg("path", { class: "hatchline", d: "M20 26l12-12M60 26l12-12M100 26l12-12M140 26l12-12M180 26l12-12M220 26l12-12M260 26l12-12" }));
  if (known(c.floor_k)) parts.push(svg("line", { class: "floor", x1: x(c.floor_k), x2: x(c.floor_k), y1: 8, y2: 30 }), svg("text", { x: x(c.floor_k), y: 9, dx: 4 }, "floor"));
  return svg("svg", { class: "scale", viewBox: "0 0 300 46", role: "img", "aria-label": `Superheat ${difference(c.superheat_k)}, floor ${difference(c.floor_k)}` }, parts);
}

const histories = new Map();
function plot(c) {
  const h = histories.get(c.group + "." + c.compressor);
  if (!h || h.lowest_superheat_k.length < 2) return el("p", { class: "why" }, "The plot of the last hour begins with the next readings.");
  const n = h.lowest_superheat_k.length, slots = 360;
  const top = Math.max(20, ...h.lowest_superheat_k.filter(known).map((v) => Math.min(v, 40))), low = -5;
  const x = (i) => 30 + 264 * (slots - n + i) / (slots - 1), y = (k) => 6 + 72 * (top - Math.min(top, Math.max(low, k))) / (top - low);
  let curve = "", floors = "", under = "", pen = false, penFloor = false;
  for (let i = 0; i < n; i++) {
    const s = h.lowest_superheat_k[i], f = h.floor_k[i];
    if (known(s)) { curve += (pen ? "L" : "M") + x(i).toFixed(1) + " " + y(s).toFixed(1); if (!pen) curve += "h.6"; }
    pen = known(s);
    if (known(f)) floors += (penFloor ? "L" : "M") + x(i).toFixed(1) + " " + y(f).toFixed(1);
    penFloor = known(f);
    if (known(s) && known(f) && s < f) under += `M${x(i).toFixed(1)} ${y(f).toFixed(1)}h.9V${y(s).toFixed(1)}h-.9z`;
  }
  const ticks = [0, 10, 20, 30].filter((k) => k <= top).map((k) => [svg("line", { class: "tick", x1: 27, x2: 294, y1: y(k), y2: y(k), "stroke-opacity": .25 }), svg("text", { x: 24, y: y(k) + 4, "text-anchor": "end" }, us ? fixed(k * 1.8, 0) : String(k))]);
  const lowest = h.lowest_superheat_k.filter(known);
  return svg("svg", { class: "plot", viewBox: "0 0 300 96", role: "img", "aria-label": `Last hour of superheat; lowest ${difference(lowest.length ? Math.min(...lowest) : null)}` },
    ticks, svg("path", { class: "under", d: under }), svg("path", { class: "floorline", d: floors }), svg("path", { class: "curve", d: curve }),
    svg("text", { x: 30, y: 93 }, "1 h ago"), svg("text", { x: 162, y: 93, "text-anchor": "middle" }, "solid: superheat · dashes: floor"), svg("text", { x: 294, y: 93, "text-anchor": "end" }, "now"));
}

function card(c, events) {
  const [look, words] = lookOf(c, events);
  const why = reasonFor(c);
  const rows = [["Floor", difference(c.floor_k)], ["Margin over floor", difference(c.margin_k)], ["Dew", temperature(c.dew_c)],
    ["Suction line", temperature(c.suction_temperature_c)], ["Suction pressure", c.suction_pressure || "—"]];
  if ((c.uncertainty_parts || []).length) rows.push(["Uncertainty from", c.uncertainty_parts.filter((p) => p.share >= 0.05).map((p) => p.part + " " + Math.round(p.share * 100) + " %" + (p.assumed ? " (assumed)" : "")).join(", ")]);
  if (c.sensor_lag) rows.push(["Sensor lag", fixed(c.sensor_lag.seconds, 0) + " s ± " + Math.round(c.sensor_lag.spread * 100) + " %, " + c.sensor_lag.source]);
  if (c.exposure) rows.push(["Below floor in events, ever", c.exposure]);
  return el("article", { class: "plate " + look },
    el("div", { class: "head" }, el("h4", null, c.compressor), sign(look, words)),
    el("p", { class: "big" }, el("b", null, difference(c.superheat_k)), el("span", null, known(c.superheat_k) && known(c.expanded_uncertainty_k) ? "± " + difference(c.expanded_uncertainty_k) + " " : "", term("superheat"))),
    c.floor_warning ? el("p", { class: "why" }, "Warning: " + c.floor_warning) : "",
    el("p", { class: "why" }, "Phase: " + c.phase + " · quality: " + c.quality + (why ? " — " + why : "")),
    maintenanceOf(c),
    scale(c), el("dl", null, rows.map(([k, v]) => [el("dt", null, term(k)), el("dd", null, v)])), plot(c));
}

// Words of the trade, for whoever meets them here first: said on hover, tap and focus.
const glossary = {
  "superheat": "How much warmer the suction gas is than the temperature at which its last drop would boil at this pressure; at 0 there is liquid in it.",
  "Floor": "The least superheat that the site allows at this compressor in the present phase.",
  "Margin over floor": "Superheat less the floor; below 0 the gas may carry liquid.",
  "Dew": "The temperature at which the last drop boils at the suction pressure; superheat is counted from it.",
  "Suction line": "Temperature of the pipe where the gas enters the compressor.",
  "Uncertainty from": "What makes the superheat uncertain, by its share; assumed: the configuration does not state it.",
  "Sensor lag": "How long the sensor on the pipe takes to follow; quick dips look smaller.",
  "Below floor in events, ever": "Running time below the floor in floodback events, and how deep it was for how long.",
  "Coil superheat": "The same difference at the outlet of this evaporator: low means that it sends liquid.",
  "Air over dew": "How much warmer the cooled air is than the boiling refrigerant; it grows with ice and with a fan that fails.",
  "Its peak at the outlet": "How warm the coil's outlet became in the defrost; a clear coil gets well past melting.",
  "Melting": "How long the outlet stood at the melting point: it grows with the ice on the coil.",
};
const term = (word) => glossary[word] ? el("span", { class: "term", tabindex: "0", "data-says": glossary[word], "aria-description": glossary[word] }, word) : word;

const stages = { refrigerating: "refrigerating", defrosting: "in defrost", dripping: "dripping", pulldown: "pulling down", unknown: "stage not known" };
const defrostWords = { off_cycle: "off-cycle", electric: "electric", hot_gas: "hot gas" };
const lasted = (s) => !known(s) ? "—" : s < 90 ? fixed(s, 0) + " s" : fixed(s / 60, 0) + " min";
// A circuit: what it does, what its coil shows, how its last defrost went.
function circuitCard(c) {
  const d = c.last_defrost, look = c.stage === "unknown" ? "blind" : c.stage === "refrigerating" ? "dry" : c.stage === "pulldown" ? "near" : "idle";
  const rows = [["Coil superheat", difference(c.coil_superheat_k)], ["Coil outlet", temperature(c.coil_outlet_c)], ["Air", temperature(c.air_c)], ["Air over dew", difference(c.air_over_dew_k)]];
  if (d) rows.push(["Last defrost", clock(d.began || d.heat_ended)], ["Its heat", d.heat_ended ? lasted(d.heat_s) : "still on"], ["Its peak at the outlet", temperature(d.peak_c)], ["Melting", lasted(d.plateau_s)]);
  else rows.push(["Last defrost", "none seen"]);
  return el("article", { class: "plate circuit " + look },
    el("div", { class: "head" }, el("h4", null, c.circuit), sign(look, stages[c.stage] || c.stage)),
    el("p", { class: "why" }, (c.since ? "Since " + clock(c.since) + ". " : "") + "Defrost: " + (defrostWords[c.defrost_kind] || "kind not stated")),
    el("dl", null, rows.map(([k, v]) => [el("dt", null, term(k)), el("dd", null, v)])));
}

function ranked(title, list, name) {
  if (!list.length) return "";
  return [el("h5", null, title), el("ol", null, list.slice(0, 3).map((r) => el("li", null, name(r), " ", el("span", { class: "share" }, Math.round(r.score * 100) + " %"),
    (r.why || []).length ? el("div", { class: "share" }, r.why.map((i) => i.text).join("; ")) : "")))];
}
// Lists stay open when their event is drawn anew.
const unfolded = new Set();
function checkList(id, todo) {
  const list = el("details", { class: "todo", open: unfolded.has(id) ? "" : null }, el("summary", null, "Check next, in this order"), el("p", { class: "share" }, cautions),
    el("ol", null, todo.map((t) => el("li", null, t.do, el("div", { class: "share" }, "For it: " + t.confirms + " Against it: " + t.clears), t.caution ? el("div", { class: "why" }, el("strong", null, "⚠ " + t.caution)) : ""))));
  list.addEventListener("toggle", () => list.open ? unfolded.add(id) : unfolded.delete(id));
  return list;
}
// An event may be about all inputs of a source; its evidence lists them.
const ofSource = (e) => (e.evidence || []).some((i) => i.code === "source_silent" || i.code === "group_silent");
function eventPlate(e) {
  const where = [e.group, e.compressor].filter(Boolean).join(" · ");
  const look = e.withdrawn ? "idle" : e.kind === "floodback" ? "event" : e.kind === "no_data" ? "blind" : "near";
  const todo = e.withdrawn ? [] : e.kind === "floodback" || e.kind === "flooded_start" || e.kind === "hunting" ? checksOf(e.causes || []) : [];
  const facts = [["Began", clock(e.began)], ["Opened", clock(e.opened) + ", in " + e.phase]];
  if (e.closed) facts.push([e.withdrawn ? "Withdrawn" : "Closed", clock(e.closed)]);
  for (const f of e.facts) facts.push([f.name, f.text]);
  return el("article", { class: "plate " + look },
    el("div", { class: "head" }, el("h4", null, (kinds[e.kind] || e.kind) + ", " + where), sign(look, e.withdrawn ? "withdrawn" : e.severity)),
    e.withdrawn ? el("p", { class: "why" }, el("strong", null, "Withdrawn: "), e.withdrawn.text + ". It is no part of the exposure.") : "",
    e.input && !ofSource(e) ? el("p", { class: "why" }, "Input: " + e.input) : "",
    peopleLines(e), comparison(e), peopleButtons(e),
    (e.evidence || []).length ? el("ul", null, e.evidence.map((i) => el("li", null, i.text))) : "",
    el("dl", null, facts.map(([k, v]) => [el("dt", null, k), el("dd", null, v)])),
    ranked("Likely circuits", e.circuits || [], (r) => r.name), ranked("Likely causes", e.causes || [], (r) => causes[r.cause] || r.cause),
    todo.length ? checkList(e.id, todo) : "",
    el("p", { class: "share" }, e.id + " · ", el("a", { href: "events/" + encodeURIComponent(e.id) + "?units=" + (us ? "us" : "si") }, "the whole explanation")));
}

function table(names, rows) {
  return el("div", { class: "wide" }, el("table", { class: "stack" }, el("thead", null, el("tr", null, names.map((n) => el("th", { scope: "col" }, n)))),
    el("tbody", null, rows.map((r) => el("tr", null, r.map((v, i) => el("td", { "data-name": names[i] }, v)))))));
}
function valueOf(i) {
  if (!known(i.value)) return "—";
  return i.unit === "Paa" ? i.text || "—" : i.unit === "degC" ? temperature(i.value) : i.value ? "on" : "off";
}

// A part is drawn anew only when its text changes, so that a screen reader
// announces changes and not every poll.
const drawn = new Map();
function put(id, key, make) {
  const k = JSON.stringify(key) + us;
  if (drawn.get(id) === k) return;
  drawn.set(id, k);
  const read = [...$(id).querySelectorAll(".term")].indexOf(document.activeElement); // a word that is being read stays so
  $(id).replaceChildren(...[make()].flat(Infinity));
  if (read >= 0) $(id).querySelectorAll(".term")[read]?.focus({ preventScroll: true });
}

let state = null, heard = 0;
function draw() {
  if (!state) return;
  const s = state;
  tape(s.replay, s.time);
  document.title = (s.replay ? "▶ replay · " : "") + (s.open_events.some((e) => e.kind === "floodback") ? "◆ floodback · " : "") + s.site + " · dewgap";
  $("site").textContent = s.site;
  $("mode").textContent = [s.mode, s.note].filter(Boolean).join(" · ");
  $("clock").textContent = clock(s.time);
  $("units").textContent = us ? "°F · psi" : "K · °C · bar";
  $("version").textContent = "dewgap " + s.version;
  // Figures of open events grow each second; announce the events, not the figures.
  const codes = (list) => (list || []).map((i) => i.code);
  put("events", s.open_events.map((e) => [e.id, e.severity, e.circuits.map((c) => [c.name, c.score]), e.causes.map((c) => [c.cause, c.score, codes(c.why)]), codes(e.evidence), Math.round(e.seconds_below / 10), e.acknowledged, e.found, e.during_maintenance, s.may_change]), () => s.open_events.length
    ? el("div", { class: "eventlist" }, s.open_events.map(eventPlate)) : el("p", { class: "calm" }, s.current ? "None." : "None known; see above."));
  $("limitsection").hidden = !(s.limits || []).length;
  put("limits", s.limits || [], () => el("ul", null, (s.limits || []).map((l) => el("li", null, el("b", null, l.group + " · " + l.compressor), ": " + l.reason.text))));
  $("trendsection").hidden = !(s.notices || []).length;
  put("trends", s.notices || [], () => el("ul", null, (s.notices || []).map((n) => el("li", null, el("b", null, n.group + " · " + (n.circuit || n.compressor)), ": " + n.found.text))));
  const groups = [...new Set(s.compressors.map((c) => c.group))];
  drawMaintenance();
  put("machines", [s.compressors, s.circuits, s.maintenance, s.may_change, s.open_events.map((e) => [e.id, e.severity]), [...histories].map(([k, h]) => [k, h.from, h.lowest_superheat_k.length, h.lowest_superheat_k.at(-1)])], () => groups.map((g) => {
    const of = s.compressors.filter((c) => c.group === g);
    return el("section", null, el("div", { class: "head" }, el("h3", null, "Group " + g + (of[0].refrigerant ? " · " + of[0].refrigerant : "")), maintenanceButton(g)), el("div", { class: "grid" }, of.map((c) => card(c, s.open_events))),
      el("div", { class: "grid circuits" }, (s.circuits || []).filter((c) => c.group === g).map(circuitCard)));
  }));
  put("sources", s.sources, () => table(["Source", "State", "Kind", "Address", "Traffic", "Errors"], s.sources.map((r) => [r.source,
    (r.up ? "● up" : "✕ down") + (r.since ? " since " + clock(r.since) : "") + (r.reason ? " — " + r.reason : "") + ((r.resting || []).length ? " · resting: " + r.resting.join(", ") : ""),
    r.kind, r.address,
    (r.heard ? "last heard " + clock(r.heard) + " · " : "") + r.requests + (r.kind === "mqtt" ? " messages" : " requests") + " · " + r.reconnects + " reconnects" + (r.cycle_s ? " · busy " + r.cycle_s.toFixed(2) + " s a cycle" : "") + (r.late_cycles ? " · " + r.late_cycles + " late cycles" : ""),
    Object.entries(r.errors || {}).map(([k, v]) => k + " " + v).join(", ") || "none"])));
  $("targetsection").hidden = !(s.targets || []).length;
  put("targets", s.targets || [], () => table(["Target", "State", "Kind", "Address", "Messages"], (s.targets || []).map((t) => [t.target,
    t.fault ? "✕ " + t.fault : t.waiting ? "… telling" : "● nothing waits", t.kind, t.address,
    t.messages_total + (t.last_message ? ", the last " + clock(t.last_message) : "") + (t.waiting ? " · " + t.waiting + " changes wait since " + clock(t.waiting_since) : "") + (t.failures_total ? " · " + t.failures_total + " attempts failed" : "")])));
  put("inputs", s.inputs, () => table(["Input", "Value", "Quality", "Time", "Gauge"], s.inputs.map((i) => [i.input, valueOf(i), i.quality + (i.reason ? " — " + i.reason : ""), clock(i.time), i.compared === undefined ? "" : i.compared || "never compared"])));
  put("recent", [s.recent_events, s.may_change], () => s.recent_events.length ? el("div", { class: "eventlist" }, s.recent_events.map(eventPlate)) : el("p", { class: "calm" }, "None."));
}

// The bar of a replay, and its controls. They reach the replay alone.
const speeds = [1, 5, 10, 30, 60, 120, 300, 1000, 5000];
function tape(r, time) {
  $("replay").hidden = !r;
  if (!r) return;
  const stands = r.paused || r.ended;
  const say = (id, text) => { if ($(id).textContent !== text) $(id).textContent = text; };
  say("tape", r.recording + ", recorded " + clock(r.from) + " to " + clock(r.to) + ".");
  say("tapetime", clock(time));
  say("tapestate", (r.ended ? "■ at its end" : r.paused ? "❚❚ paused" : "▶ playing " + r.speed + " times as fast") + ", row " + r.rows);
  say("play", stands ? "▶ Play" : "❚❚ Pause");
  $("play").dataset.do = stands ? "play" : "pause";
  $("play").disabled = r.ended;
  say("tapelast", r.last);
  const from = Date.parse(r.from), to = Date.parse(r.to);
  $("tapeplace").value = to > from ? (Date.parse(time) - from) / (to - from) : 1;
  const list = [...new Set([...speeds, r.speed])].sort((a, b) => a - b);
  if ($("speed").options.length !== list.length) $("speed").replaceChildren(...list.map((v) => el("option", { value: v }, v + " ×")));
  if (document.activeElement !== $("speed")) $("speed").value = r.speed;
}
async function drive(what, speed) {
  try {
    const answer = await fetch("/api/v1/replay" + unitsQuery(), { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ do: what, speed }) });
    if (!answer.ok) { $("tapelast").textContent = "✕ " + (await answer.text()).trim(); return; }
    take(await answer.json());
  } catch { /* judge() shows that the connection is lost */ }
}
for (const key of document.querySelectorAll("[data-do]")) key.addEventListener("click", () => drive(key.dataset.do));
$("speed").addEventListener("change", () => { drive("speed", Number($("speed").value)); $("speed").blur(); });

// What the reader must know before any number: is this the present?
function judge() {
  const silent = (performance.now() - heard) / 1000, lost = silent > 6;
  const old = lost || (state && !state.current);
  const link = lost ? ["lost", heard ? "✕ connection to the daemon lost" : "✕ no answer from the daemon"] : !state ? ["", "connecting…"] : state.replay ? ["", "▶ replay"] : state.current ? ["", "● live"] : ["old", "✕ data is old"];
  if ($("link").textContent !== link[1]) $("link").textContent = link[1];
  $("link").className = "link " + link[0];
  document.body.classList.toggle("old-data", Boolean(old));
  const lines = [];
  if (lost && state) lines.push(["lost", "The connection to the daemon is lost. What stands below is from " + clock(state.time) + " and not the present."]);
  else if (state && !state.current) lines.push(["old", "Nothing has been analysed for " + state.age + ". The superheat is not known now."]);
  for (const f of state ? state.faults : []) lines.push([f.what + f.text, "Fault of dewgap itself (" + f.what + "): " + f.text]);
  // Each line has a key: an age that grows is not announced anew.
  const key = JSON.stringify(lines.map((l) => l[0]));
  if ($("warn").dataset.key !== key) {
    $("warn").dataset.key = key;
    $("warn").replaceChildren(...lines.map((l) => el("p", null, l[1])));
  }
  $("warn").hidden = !lines.length;
}

async function ask(path) {
  const answer = await fetch(path, { cache: "no-store", signal: AbortSignal.timeout(5000) });
  if (answer.status === 503) { heard = performance.now(); return null; }
  if (!answer.ok) throw new Error(path + ": " + answer.status);
  return answer.json();
}
function take(s) {
  heard = performance.now();
  state = s;
  us = s.text_units === "us";
  draw();
  drawLanes(); // in the units of now
}
async function refresh() {
  const asked = unitsQuery();
  try {
    const s = await ask("/api/v1/state" + asked);
    if (s && asked === unitsQuery()) take(s); // else the reader chose other units meanwhile
  } catch { /* judge() shows that the connection is lost */ }
  judge();
}
async function poll() {
  await refresh();
  setTimeout(poll, document.hidden ? 5000 : 1000);
}
async function pollHistories() {
  if (!document.hidden && state) {
    for (const c of state.compressors) {
      try { histories.set(c.group + "." + c.compressor, await ask(`/api/v1/history?group=${encodeURIComponent(c.group)}&compressor=${encodeURIComponent(c.compressor)}`)); } catch { break; }
    }
    draw();
  }
  setTimeout(pollHistories, state ? 10000 : 500);
}
$("units").addEventListener("click", () => {
  choice = us ? "si" : "us";
  try { localStorage.setItem("units", choice); } catch { /* storage may be barred */ }
  refresh();
});
poll();
pollHistories();
