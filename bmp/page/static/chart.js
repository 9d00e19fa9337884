// Curves drawn as wide as the screen is, with letters that can be read on a telephone, and pointed
// at: the nearest reading says its value, jar and day.
"use strict";

const SVG = "http://www.w3.org/2000/svg";
const drawn = (tag, attributes, words) => {
  const one = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) one.setAttribute(name, value);
  if (words !== undefined) one.textContent = words;
  return one;
};

// About `count` round figures from 0 (or below) to the highest.
function ticks(low, high, count) {
  const rough = (high - low) / count || 1;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = power * [1, 2, 5, 10].find((one) => one * power >= rough);
  const found = [];
  for (let at = Math.ceil(low / step) * step; at <= high + step / 1e6; at += step) found.push(Number(at.toPrecision(10)));
  return found;
}

function chart(figure) {
  const data = JSON.parse(figure.dataset.chart);
  const said = figure.querySelector("[data-pointed]");
  const points = [];
  for (const series of data.series)
    for (const jar of series.jars)
      jar.days.forEach((day, at) => points.push({ series, jar, day, value: jar.values[at] }));
  if (!points.length) return;
  let spot, scale;

  function draw() {
    const wide = Math.max(figure.clientWidth, 260);
    const high = Math.min(Math.max(0.62 * wide, 250), 420);
    const edge = { left: 52, right: 12, top: 12, bottom: 44 };
    const days = ticks(0, Math.max(...points.map((p) => p.day)), wide < 500 ? 4 : 8);
    const lowest = Math.min(0, ...points.map((p) => p.value));
    const values = ticks(lowest, Math.max(...points.map((p) => p.value)), 5);
    const lastDay = Math.max(days[days.length - 1], ...points.map((p) => p.day));
    const top = Math.max(values[values.length - 1], ...points.map((p) => p.value));
    const x = (day) => edge.left + (day / lastDay) * (wide - edge.left - edge.right);
    const y = (value) => high - edge.bottom - ((value - lowest) / (top - lowest || 1)) * (high - edge.top - edge.bottom);
    const svg = drawn("svg", { viewBox: `0 0 ${wide} ${high}`, width: wide, height: high, role: "img",
      "aria-label": `${data.what} of every jar by day. The table above has the yields.` });
    for (const value of values) {
      svg.append(drawn("line", { x1: edge.left, x2: wide - edge.right, y1: y(value), y2: y(value), class: "grid-line" }));
      svg.append(drawn("text", { x: edge.left - 6, y: y(value) + 4, "text-anchor": "end" }, String(value)));
    }
    for (const day of days) svg.append(drawn("text", { x: x(day), y: high - edge.bottom + 18, "text-anchor": "middle" }, String(day)));
    svg.append(drawn("text", { x: (edge.left + wide - edge.right) / 2, y: high - 6, "text-anchor": "middle" }, "Day"));
    for (const series of data.series)
      for (const jar of series.jars) {
        const path = [[0, 0], ...jar.days.map((day, at) => [day, jar.values[at]])].map(([d, v]) => `${x(d).toFixed(1)},${y(v).toFixed(1)}`);
        svg.append(drawn("polyline", { points: path.join(" "), fill: "none", "stroke-width": 1.6,
          stroke: jar.out ? "var(--soft)" : `var(--series-${series.colour})`, "stroke-dasharray": jar.out ? "1 4" : series.dashes }));
      }
    spot = drawn("circle", { r: 6, class: "spot", visibility: "hidden" });
    svg.append(spot);
    scale = { x, y };
    figure.querySelector("[data-drawing]").replaceChildren(svg);
  }

  function show(point) {
    spot.setAttribute("cx", scale.x(point.day));
    spot.setAttribute("cy", scale.y(point.value));
    spot.setAttribute("visibility", "visible");
    said.textContent = `${point.jar.name} (${point.series.name}${point.jar.out ? ", left out" : ""}), day ${point.day}: ${point.value} ${data.unit}`;
    figure.dataset.at = points.indexOf(point);
  }

  const drawing = figure.querySelector("[data-drawing]");
  const nearest = (event) => {
    const box = drawing.getBoundingClientRect();
    const px = event.clientX - box.left, py = event.clientY - box.top;
    let best, least = Infinity;
    for (const point of points) {
      const far = (scale.x(point.day) - px) ** 2 + (scale.y(point.value) - py) ** 2;
      if (far < least) { least = far; best = point; }
    }
    show(best);
  };
  drawing.addEventListener("pointermove", nearest);
  drawing.addEventListener("pointerdown", nearest);
  drawing.addEventListener("keydown", (event) => {
    const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    if (!step) return;
    event.preventDefault();
    show(points[(Number(figure.dataset.at ?? -1) + step + points.length) % points.length]);
  });

  const names = figure.querySelector("[data-legend]");
  names.replaceChildren(...data.series.map((series) => {
    const item = document.createElement("li");
    const svg = drawn("svg", { width: 34, height: 12, "aria-hidden": "true" });
    svg.append(drawn("line", { x1: 1, x2: 33, y1: 6, y2: 6, "stroke-width": 2.5, stroke: `var(--series-${series.colour})`, "stroke-dasharray": series.dashes }));
    item.append(svg, ` ${series.name}`);
    return item;
  }));
  draw();
  let width = figure.clientWidth;
  new ResizeObserver(() => {
    if (figure.clientWidth !== width) { width = figure.clientWidth; draw(); }
  }).observe(figure);
}

document.addEventListener("loaded", (event) => event.target.querySelectorAll("figure[data-chart]").forEach(chart));
