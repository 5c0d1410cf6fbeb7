// The drawing office's forms: a chosen drawing shows its layers, and a
// partition can be pointed at in the picture of its room. Both only fill in
// fields that can be filled in by hand.
"use strict";

// A file that is too large is told before it is sent.
document.querySelectorAll("input[type=file][data-most]").forEach((input) => {
  input.addEventListener("change", () => {
    const file = input.files[0];
    input.setCustomValidity(file && file.size > Number(input.dataset.most) ? input.dataset.large : "");
    input.reportValidity();
  });
});

// readDrawing reads the lines of an ASCII DXF by layer: a path for each layer,
// so that a person sees which layer has the rooms. What is not a line, as in
// blocks, is counted and not drawn; the drawing office reads the file itself.
function readDrawing(text) {
  const rows = text.split(/\r\n|\n|\r/);
  const found = { layers: new Map(), units: 0, low: [Infinity, Infinity], high: [-Infinity, -Infinity] };
  const layer = (name) => {
    if (!found.layers.has(name)) found.layers.set(name, { count: 0, closed: 0, d: [] });
    return found.layers.get(name);
  };
  const point = (x, y) => {
    found.low = [Math.min(found.low[0], x), Math.min(found.low[1], y)];
    found.high = [Math.max(found.high[0], x), Math.max(found.high[1], y)];
    return x + " " + -y;
  };
  let section = "", entity = null, poly = null;
  const end = () => {
    if (!entity) return;
    const e = entity;
    entity = null;
    if (e.kind === "VERTEX" && poly) { if (e.x.length && e.y.length) poly.points.push([e.x[0], e.y[0]]); return; }
    if (e.kind === "SEQEND" && poly) { draw(poly.layer, poly.points, poly.closed); poly = null; return; }
    if (e.kind === "POLYLINE") { poly = { layer: e.layer, points: [], closed: (e.flags & 1) === 1 }; layer(e.layer).count++; return; }
    if (!["LINE", "LWPOLYLINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE"].includes(e.kind)) return;
    layer(e.layer).count++;
    if (e.kind === "LINE" && e.x.length && e.x2 !== undefined) draw(e.layer, [[e.x[0], e.y[0]], [e.x2, e.y2]], false);
    if (e.kind === "LWPOLYLINE") draw(e.layer, e.x.map((x, i) => [x, e.y[i]]), (e.flags & 1) === 1);
  };
  const draw = (name, points, closed) => {
    if (section !== "ENTITIES" || points.length < 2 || points.some((p) => !Number.isFinite(p[0]) || !Number.isFinite(p[1]))) return;
    const first = points[0], last = points[points.length - 1];
    if (points.length > 2 && (closed || first[0] === last[0] && first[1] === last[1])) layer(name).closed++;
    layer(name).d.push("M" + points.map((p) => point(p[0], p[1])).join("L") + (closed ? "Z" : ""));
  };
  let awaited = "";
  for (let i = 0; i + 1 < rows.length; i += 2) {
    const code = Number(rows[i]), value = rows[i + 1].trim();
    if (code === 0) {
      end();
      if (value === "SECTION" || value === "ENDSEC") section = "";
      entity = section === "ENTITIES" || section === "BLOCKS" ? { kind: value, layer: "0", flags: 0, x: [], y: [] } : null;
      awaited = value === "SECTION" ? "section" : "";
      continue;
    }
    if (code === 2 && awaited === "section") { section = value; awaited = ""; continue; }
    if (code === 9) { awaited = value === "$INSUNITS" ? "units" : ""; continue; }
    if (code === 70 && awaited === "units") { found.units = Number(value); awaited = ""; continue; }
    if (!entity) continue;
    if (code === 8) entity.layer = value;
    else if (code === 70) entity.flags = Number(value);
    else if (code === 10) entity.x.push(Number(value));
    else if (code === 20) entity.y.push(Number(value));
    else if (code === 11) entity.x2 = Number(value);
    else if (code === 21) entity.y2 = Number(value);
  }
  end();
  return found;
}

// Millimetres of a drawing unit, by the number that the file has for it.
const unitMM = { 1: 25.4, 2: 304.8, 4: 1, 5: 10, 6: 1000, 14: 100 };

const SVG = "http://www.w3.org/2000/svg";

function make(name, attributes, ...children) {
  const e = name === "svg" || name === "path" ? document.createElementNS(SVG, name) : document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) e.setAttribute(key, value);
  e.append(...children);
  return e;
}

function showLayers(box, found) {
  const words = box.dataset;
  const rooms = document.getElementById("room_layers"), openings = document.getElementById("opening_layers");
  const names = [...found.layers.keys()].filter((name) => found.layers.get(name).count > 0).sort();
  // A name with a comma cannot stand in the field; the file's own words may.
  const says = (field, name) => field.value.split(",").map((s) => s.trim()).some((pattern) => pattern !== "" &&
    new RegExp("^" + pattern.replace(/[.+^${}()|[\]\\]/g, "\\$&").replace(/\*/g, ".*").replace(/\?/g, ".") + "$", "i").test(name));
  // A drawing has more than rooms: with several layers a person says which.
  const open = rooms.value.trim() === "*" && names.length > 1;
  const use = new Map(names.map((name) => [name, says(openings, name) ? "openings" : !open && says(rooms, name) ? "rooms" : "neither"]));
  const width = found.high[0] - found.low[0], height = found.high[1] - found.low[1];
  const paths = new Map();
  const picture = make("svg", { class: "plan drawn", role: "img", "aria-label": words.picture });
  if (width > 0 || height > 0) {
    const edge = 0.02 * Math.max(width, height);
    picture.setAttribute("viewBox", [found.low[0] - edge, -found.high[1] - edge, width + 2 * edge, height + 2 * edge].join(" "));
    for (const name of names) {
      const path = make("path", { d: found.layers.get(name).d.join("") });
      paths.set(name, path);
      picture.append(path);
    }
  }
  const tell = () => {
    for (const [name, path] of paths) {
      path.setAttribute("class", use.get(name));
      if (use.get(name) !== "neither") picture.append(path);
    }
    if (use.size > 0) {
      rooms.value = names.filter((name) => use.get(name) === "rooms").join(", ");
      openings.value = names.filter((name) => use.get(name) === "openings").join(", ");
    }
  };
  const body = make("tbody", {});
  names.forEach((name, i) => {
    const row = make("tr", {}, make("th", { scope: "row" }, name), make("td", { class: "n" }, String(found.layers.get(name).count)),
      make("td", { class: "n" }, String(found.layers.get(name).closed)));
    for (const [event, looked] of [["pointerenter", true], ["pointerleave", false], ["focusin", true], ["focusout", false]]) {
      row.addEventListener(event, () => paths.get(name)?.classList.toggle("looked", looked));
    }
    for (const what of ["rooms", "openings", "neither"]) {
      const pick = make("input", { type: "radio", name: "layer-" + i, value: what, "aria-label": name + ": " + words[what] });
      pick.checked = use.get(name) === what;
      // Not part of what is sent: the two fields are.
      pick.setAttribute("form", "");
      pick.addEventListener("change", () => { use.set(name, what); tell(); });
      row.append(make("td", {}, make("label", {}, pick)));
    }
    body.append(row);
  });
  const head = make("tr", {}, ...[words.layer, words.lines, words.closed, words.rooms, words.openings, words.neither].map((w) => make("th", {}, w)));
  const size = make("p", { role: "status" });
  const unit = document.getElementById("unit_mm");
  const measure = () => {
    const mm = Number(unit.value) || unitMM[found.units];
    const metres = (v) => (v * mm / 1000).toFixed(2);
    size.textContent = mm ? words.size.replace("%s", metres(width)).replace("%s", metres(height)) : words.unit;
  };
  unit.addEventListener("change", measure);
  const shown = make("div", { id: "layers-shown" }, size, make("p", {}, words.choose), make("div", { class: "layers" }, make("table", {}, make("thead", {}, head), body)));
  if (paths.size) shown.append(picture);
  document.getElementById("layers-shown")?.remove();
  box.append(shown);
  measure();
  tell();
}

const drawing = document.getElementById("drawing-file");
if (drawing) {
  const box = document.getElementById("layers");
  drawing.addEventListener("change", async () => {
    document.getElementById("layers-shown")?.remove();
    const file = drawing.files[0];
    if (!file || !/\.dxf$/i.test(file.name) || file.size > Number(drawing.dataset.most)) return;
    const text = await file.text();
    if (text.startsWith("AutoCAD Binary DXF")) {
      box.append(make("p", { id: "layers-shown", role: "status" }, box.dataset.binary));
      return;
    }
    const found = readDrawing(text);
    if (found.layers.size) showLayers(box, found);
  });
}

// Two points in the picture of a room are the ends of a partition: they fill
// in the first line that is empty, to whole centimetres.
const picture = document.querySelector("#picture svg");
const walls = document.getElementById("walls");
if (picture && walls) {
  const corner = document.getElementById("picture").dataset;
  let line = null;
  picture.addEventListener("click", (e) => {
    const matrix = picture.getScreenCTM();
    if (!matrix) return;
    const at = new DOMPoint(e.clientX, e.clientY).matrixTransform(matrix.inverse());
    const x = 10 * Math.round((at.x - Number(corner.cornerX)) / 10), y = 10 * Math.round((Number(corner.cornerY) - at.y) / 10);
    const fields = (row) => [...row.querySelectorAll("input")];
    if (!line) {
      line = [...walls.querySelectorAll(".partition")].find((row) => fields(row).every((f) => f.value === ""));
      if (!line) return;
      [fields(line)[0].value, fields(line)[1].value] = [x, y];
      return;
    }
    [fields(line)[2].value, fields(line)[3].value] = [x, y];
    fields(line)[4].focus();
    line = null;
  });
}
