
// Lanes: the last twelve hours at a glance. For each compressor its superheat, from
// the lowest to the highest of each five minutes, with its floor; for each circuit
// what it did. Drawn from the minutes that are kept beside the recordings.
const laneHours = 12, laneStep = 300, laneTop = 30; // K at the top of a lane
let lanes = null;
const laneWords = { steady: "", refrigerating: "", off: "off", start: "", pulldown: "pulldown", pulling_down: "pulldown", defrost: "defrost", defrosting: "defrost", drip: "drip", dripping: "drip", unknown: "not known" };
const laneLooks = { off: "off", pulldown: "pull", pulling_down: "pull", defrost: "thaw", defrosting: "thaw", drip: "thaw", dripping: "thaw", unknown: "none" };

async function pollLanes() {
  if (!document.hidden && state && state.time && !state.replay) {
    const to = Math.ceil(Date.parse(state.time) / 1000 / laneStep) * laneStep;
    try {
      lanes = await ask(`/api/v1/history?from=${new Date((to - laneHours * 3600) * 1000).toISOString()}&to=${new Date(to * 1000).toISOString()}&step=5m${unitsQuery().replace("?", "&")}`);
    } catch { lanes = null; }
    drawLanes();
  }
  setTimeout(pollLanes, state ? 60000 : 1000);
}

// kindOf is what lasted longest in a step; a short defrost or pulldown is not hidden.
function kindOf(track, n) {
  let best = "", length = 0;
  track.kinds.forEach((kind, i) => {
    const s = track.seconds[i][n] * (laneLooks[kind] && kind !== "off" && kind !== "unknown" ? 3 : 1);
    if (s > length) { best = kind; length = s; }
  });
  return best;
}
// stretches joins neighbouring steps of the same kind: [kind, first, behind the last].
function stretches(track, steps) {
  const all = [];
  for (let n = 0; n < steps; n++) {
    const kind = kindOf(track, n), last = all.at(-1);
    if (last && last[0] === kind) last[2] = n + 1; else all.push([kind, n, n + 1]);
  }
  return all;
}
const hourOf = (n) => new Date(Date.parse(lanes.from) + n * laneStep * 1000).toISOString().slice(11, 16);
const said = (list) => list.filter(([kind]) => laneWords[kind]).map(([kind, a, b]) => laneWords[kind] + " " + hourOf(a) + " to " + hourOf(b)).join(", ");

function machineLane(of, track) {
  const steps = lanes.steps, height = 40;
  const series = (name) => lanes.values.find((v) => v.group === of.group && v.compressor === of.compressor && v.value === name);
  const sh = series("superheat"), floor = series("floor");
  const y = (k) => height - Math.max(0, Math.min(k, laneTop)) / laneTop * height;
  const parts = track ? stretches(track, steps).filter(([kind]) => laneLooks[kind]).map(([kind, a, b]) => svg("rect", { class: "lane-" + laneLooks[kind], x: a, y: 0, width: b - a, height })) : [];
  let lowest = null, below = 0;
  for (let n = 0; sh && n < steps; n++) {
    if (!known(sh.min[n])) continue;
    const wet = floor && known(floor.min[n]) && sh.min[n] < floor.min[n];
    below += wet ? 1 : 0;
    if (lowest === null || sh.min[n] < sh.min[lowest]) lowest = n;
    parts.push(svg("rect", { class: wet ? "lane-wet" : "lane-dry", x: n, y: y(sh.max[n]), width: 1, height: Math.max(1.5, y(sh.min[n]) - y(sh.max[n])) }));
    if (floor && known(floor.min[n])) parts.push(svg("rect", { class: "lane-floor", x: n, y: y(floor.min[n]) - .5, width: 1, height: 1 }));
  }
  for (const e of lanes.events) {
    if (e.kind !== "floodback" || e.withdrawn || e.group !== of.group || e.compressor !== of.compressor) continue;
    const x = (Date.parse(e.opened) - Date.parse(lanes.from)) / 1000 / laneStep;
    if (x >= 0 && x <= steps) parts.push(svg("rect", { class: "lane-event", x: x - .3, y: 0, width: .6, height }));
  }
  const text = lowest === null ? "no superheat known" : "lowest " + difference(sh.min[lowest]) + " at " + hourOf(lowest) + (below ? ", below its floor in " + below + (below === 1 ? " step" : " steps") + " of 5 min" : ", never below its floor");
  return lane(of.compressor, "c", text + (track && said(stretches(track, steps)) ? "; " + said(stretches(track, steps)) : ""), text, height, parts);
}
function circuitLane(track) {
  const steps = lanes.steps, height = 12, all = stretches(track, steps);
  const parts = all.map(([kind, a, b]) => svg("rect", { class: laneLooks[kind] ? "lane-" + laneLooks[kind] + " strong" : "lane-cold", x: a, y: 0, width: b - a, height }));
  const defrosts = all.filter(([kind]) => /^defrost/.test(kind)).length;
  return lane(track.circuit, "k", said(all) || "refrigerated throughout", defrosts ? defrosts + (defrosts === 1 ? " defrost" : " defrosts") : "no defrost", height, parts);
}
function lane(name, kind, whole, short, height, parts) {
  return el("div", { class: "lane " + kind }, el("span", { class: "lane-name" }, name),
    svg("svg", { viewBox: `0 0 ${lanes.steps} ${height}`, preserveAspectRatio: "none", role: "img", "aria-label": name + ": " + whole, height }, svg("title", null, whole), ...parts),
    el("span", { class: "lane-said" }, short));
}

function drawLanes() {
  const some = lanes && lanes.steps && lanes.rows.some((n) => n > 0);
  $("lanesection").hidden = !some;
  if (!some) return;
  const groups = [...new Set(lanes.tracks.map((t) => t.group))];
  const hours = [];
  for (let h = 0; h <= laneHours; h += 3) hours.push(el("span", null, hourOf(Math.min(h * 3600 / laneStep, lanes.steps))));
  put("lanes", [lanes.from, lanes.rows.at(-1), lanes.rows.length, us, lanes.events.length], () => [
    groups.map((g) => el("section", { class: "lanegroup" }, el("h3", null, "Group " + g),
      lanes.tracks.filter((t) => t.group === g && t.compressor).map((t) => machineLane(t, t)),
      lanes.tracks.filter((t) => t.group === g && t.circuit).map(circuitLane),
      el("div", { class: "lane-hours", "aria-hidden": "true" }, hours))),
    el("p", { class: "share lane-legend" }, el("i", { class: "lane-dry" }), "superheat", el("i", { class: "lane-wet" }), "below its floor", el("i", { class: "lane-thaw strong" }), "defrost and drip", el("i", { class: "lane-pull strong" }), "pulldown", el("i", { class: "lane-off" }), "off", " An upright line: a floodback opened. Times are UTC."),
  ]);
}
pollLanes();
