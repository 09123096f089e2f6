// What people do to events, and maintenance. The form stands outside of what is
// drawn anew, so that nobody loses a note half written.
const act = $("act");
let request = null; // of the open form: the values of its fields to [method, path, body]
let memory = ""; // the name, where storage is barred
const mayChange = () => Boolean(state && state.may_change);
const hours = (h) => h < 24 ? h + " h" : h / 24 + (h === 24 ? " day" : " days");
const remark = (note) => note ? ": " + note : "";

function nameOf() {
  if (state && state.user) return state.user;
  try { return localStorage.getItem("name") || memory; } catch { return memory; }
}
function remember(name) {
  memory = name;
  try { localStorage.setItem("name", name); } catch { /* storage may be barred */ }
}

// Opens the form with the fields that it names; options are the choices of its lists.
function openForm(title, what, verb, fields, options, make) {
  request = make;
  $("acttitle").textContent = title;
  $("actwhat").textContent = what;
  $("actdo").textContent = verb;
  $("acterror").textContent = "";
  for (const label of act.querySelectorAll("[data-field]")) {
    const name = label.dataset.field, input = label.querySelector("input, select, textarea");
    label.hidden = !fields.includes(name) || (name === "by" && Boolean(state.user));
    if (input.tagName === "SELECT") input.replaceChildren(...(options[name] || []).map(([value, words, chosen]) => el("option", { value, selected: chosen ? "" : null }, words)));
    else input.value = name === "by" ? nameOf() : options[name] || "";
  }
  act.showModal();
}
const valueIn = (name) => act.querySelector(`[data-field="${name}"]`).querySelector("input, select, textarea").value.trim();
function untilIn() {
  const h = Number(valueIn("until"));
  return h ? new Date(Date.parse(state.time) + h * 3600e3).toISOString() : "";
}
async function submit() {
  const by = state.user || valueIn("by");
  if (!by) { $("acterror").textContent = "Write your name: it stands beside what you enter."; return; }
  if (!act.querySelector('[data-field="cause"]').hidden && !valueIn("cause")) { $("acterror").textContent = "Choose what was the matter."; return; }
  if (!state.user) remember(by);
  const [method, path, body] = request(by);
  $("actdo").disabled = true;
  try {
    const answer = await fetch(path, { method, headers: { "Content-Type": "application/json" }, body: body && JSON.stringify(body), signal: AbortSignal.timeout(30000) });
    if (answer.ok) { act.close(); await refresh(); return; }
    const text = (await answer.text()).trim();
    let why = text;
    try { why = JSON.parse(text).error || text; } catch { /* plain text */ }
    $("acterror").textContent = "✕ " + why;
  } catch {
    $("acterror").textContent = "✕ No answer from the daemon. Look whether it was taken before you try again.";
  } finally { $("actdo").disabled = false; }
}
$("actform").addEventListener("submit", (ev) => { ev.preventDefault(); submit(); });
$("actcancel").addEventListener("click", () => act.close());

const eventPath = (e, what) => "/api/v1/events/" + encodeURIComponent(e.id) + "/" + what;
const titleOf = (e) => (kinds[e.kind] || e.kind) + ", " + e.severity + ", " + [e.group, e.compressor].filter(Boolean).join(" · ") + (e.input && !ofSource(e) ? ", input " + e.input : "");
const untils = (list, chosen, first) => [...(first ? [["", first, !chosen]] : []), ...list.map((h) => [h, hours(h), h === chosen])];
const causeWords = (c) => c === "none" ? "Nothing was the matter" : c === "unknown" ? "Not found out" : causes[c] || c;

function takeOn(e) {
  openForm("Acknowledge", titleOf(e) + ". Others see that you are on it. It comes back when the event escalates.", "Acknowledge", ["by", "until", "note"],
    { until: untils([1, 4, 8, 24], 0, "until it ends") }, (by) => ["POST", eventPath(e, "acknowledge"), { by, note: valueIn("note"), until: untilIn() }]);
}
function giveBack(e) {
  openForm("Take the acknowledgement back?", titleOf(e), "Take back", ["by"], {}, (by) => ["DELETE", eventPath(e, "acknowledge") + "?by=" + encodeURIComponent(by)]);
}
function tellFound(e) {
  const group = state.groups.find((g) => g.group === e.group), f = e.found || {};
  const list = ["none", "sensor_misplaced", ...Object.keys(causes).filter((c) => c !== "sensor_misplaced" && c !== "unknown"), "unknown"];
  openForm("What was found?", titleOf(e) + ". It stays in the record beside what dewgap named.", "Record", ["by", "cause", "circuit", "note"],
    { cause: [["", "choose", !f.cause], ...list.map((c) => [c, causeWords(c), c === f.cause])],
      circuit: [["", "none in particular", !f.circuit], ...(group ? group.circuits : []).map((c) => [c, c, c === f.circuit])], note: f.note },
    (by) => ["POST", eventPath(e, "found"), { by, cause: valueIn("cause"), circuit: valueIn("circuit"), note: valueIn("note") }]);
}
function beginMaintenance(g) {
  openForm("Maintenance in group " + g.group, "Mutes notifications until it ends. Analysis goes on, and what floods meanwhile is counted.", "Begin", ["by", "compressor", "until", "note"],
    { compressor: [["", "the whole group", true], ...g.compressors.map((c) => [c, c])], until: untils([1, 2, 4, 8, 24, 72, 168], 4) },
    (by) => ["POST", "/api/v1/maintenance", { by, group: g.group, compressor: valueIn("compressor"), until: untilIn(), note: valueIn("note") }]);
}
function endMaintenance(m) {
  openForm("End this maintenance?", placeOf(m) + remark(m.note), "End it", ["by"], {}, (by) => ["DELETE", "/api/v1/maintenance/" + encodeURIComponent(m.id) + "?by=" + encodeURIComponent(by)]);
}

const placeOf = (m) => [m.group, m.compressor].filter(Boolean).join(" · ");
function button(words, action, main) {
  const b = el("button", { type: "button", class: main ? "main" : null }, words);
  b.addEventListener("click", action);
  return b;
}

// Lines of an event about people.
function peopleLines(e) {
  const a = e.acknowledged, m = e.during_maintenance;
  return [
    a ? el("p", { class: "why" }, el("strong", null, "✓ Acknowledged"), " by " + a.by + ", " + clock(a.at) + (a.until ? ", until " + clock(a.until) : "") + remark(a.note)) : "",
    m ? el("p", { class: "why" }, el("strong", null, "During maintenance"), " of " + placeOf(m) + remark(m.note) + ". It counts all the same.") : "",
  ];
}
// What was said and what was found, side by side.
function comparison(e) {
  const f = e.found;
  if (!f) return "";
  const c = (e.causes || [])[0], k = (e.circuits || [])[0];
  const share = (r) => ", " + Math.round(r.score * 100) + " %";
  return el("div", { class: "compare" },
    el("div", null, el("h5", null, "dewgap said"), el("p", null, c ? causeWords(c.cause) + share(c) : "No cause"), k ? el("p", { class: "share" }, "circuit " + k.name + share(k)) : ""),
    el("div", null, el("h5", null, "Found on site"), el("p", null, causeWords(f.cause)), f.circuit ? el("p", { class: "share" }, "circuit " + f.circuit) : "",
      el("p", { class: "share" }, f.by + ", " + clock(f.at) + remark(f.note))));
}
function peopleButtons(e) {
  if (!mayChange()) return "";
  return el("p", { class: "keys" },
    e.closed ? "" : e.acknowledged ? button("Take back", () => giveBack(e)) : button("Acknowledge", () => takeOn(e), true),
    button(e.found ? "Correct what was found" : "What was found?", () => tellFound(e)));
}

// Maintenance that is on, and where one begins.
function maintenanceOf(c) {
  const m = (state.maintenance || []).find((m) => m.group === c.group && (!m.compressor || m.compressor === c.compressor));
  return m ? el("p", { class: "why" }, el("strong", null, "⚒ Maintenance"), " until " + clock(m.until) + remark(m.note)) : "";
}
function maintenanceButton(name) {
  const g = (state.groups || []).find((g) => g.group === name);
  return mayChange() && g ? button("Maintenance…", () => beginMaintenance(g)) : "";
}
function drawMaintenance() {
  const list = state.maintenance || [];
  $("maintenancesection").hidden = !list.length;
  put("maintenance", [list, mayChange()], () => el("div", { class: "eventlist" }, list.map((m) => el("article", { class: "plate near" },
    el("div", { class: "head" }, el("h4", null, placeOf(m)), el("span", { class: "sign" }, "⚒ until " + clock(m.until))),
    el("p", { class: "why" }, m.note + " — " + m.by + ", since " + clock(m.from)), el("p", { class: "share" }, "Notifications are muted. What floods meanwhile is counted."),
    mayChange() ? el("p", { class: "keys" }, button("End it", () => endMaintenance(m))) : ""))));
}
