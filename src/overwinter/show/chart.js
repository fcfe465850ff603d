// Draws a picture in the page: unpacks every sample, lets uPlot draw what is in view, and adds what it has
// no word for: the band as it was, gaps, marks, doubtful samples, heat as bars. Nothing is fetched.
//
// `overwinterChart(picture)` draws it and gives back: `update(picture)` for the same with newer samples, where
// whoever looks closer keeps what he looks at; `refine(picture)` for more samples of a part of it; `destroy()`.
// A picture that lies in the page itself is drawn at once.
"use strict";
window.overwinterChart = (given, { onLook = () => {} } = {}) => {
  let picture = given;
  const page = document.documentElement;
  const BREAK = 0; // the flag of a row that is no sample: a gap in the lines
  const NAMES = 68; // room for the names of the lines at their ends
  const DENSE = 4; // samples a pixel, beyond which crosses would hide the line: the ticks at the foot stay
  const DOUBTFUL = new Set([3, 4, 9]);
  const FLAGS = { 1: "good", 2: "good, not yet compared", 3: "doubtful", 4: "failed", 9: "nothing came" };
  const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
  const pixel = () => window.devicePixelRatio || 1;
  const colour = (name) => getComputedStyle(page).getPropertyValue(`--${name}`).trim();

  // One byte a step in most cases; 128: four bytes of a large step follow; 129: nothing there.
  function unpack(text, scale) {
    const packed = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
    const words = new DataView(packed.buffer);
    const found = [];
    for (let at = 0, value = 0; at < packed.length; at++) {
      if (packed[at] === 129) {
        found.push(null);
        continue;
      }
      if (packed[at] === 128) {
        value += words.getInt32(at + 1, true);
        at += 4;
      } else {
        value += packed[at] < 128 ? packed[at] : packed[at] - 256;
      }
      found.push(value * scale);
    }
    return found;
  }
  const inUnit = (c) => (c === null ? null : picture.unit === "F" ? c * 1.8 + 32 : c);
  function unpacked({ columns, from }) {
    const degrees = (name) => unpack(columns[name], 0.01).map(inUnit);
    return {
      at: unpack(columns.at, 1).map((s) => s + from),
      inside: degrees("inside"),
      outdoor: degrees("outdoor"),
      dew: degrees("dew"),
      humidity: unpack(columns.humidity, 0.1),
      heat: unpack(columns.heat, 0.1),
      flags: unpack(columns.flags, 1),
    };
  }
  let at, inside, outdoor, dew, humidity, heat, flags, doubts, band, whole;
  function take(samples) {
    ({ at, inside, outdoor, dew, humidity, heat, flags } = samples);
    doubts = flags.flatMap((flag, index) => (DOUBTFUL.has(flag) ? [index] : []));
    band = picture.band.map(([from, to, low, high]) => [from, to, inUnit(low), inUnit(high)]);
    whole = [picture.from, picture.to];
  }
  take(unpacked(picture));

  // Local time, from the offsets that the house had; the browser's own zone is never asked.
  function offset(s) {
    let found = picture.zone[0];
    for (const one of picture.zone) if (one[0] <= s) found = one;
    return found;
  }
  const wall = (s) => new Date((s + offset(s)[1]) * 1000);
  const two = (number) => String(number).padStart(2, "0");
  const day = (when) => `${when.getUTCDate()} ${MONTHS[when.getUTCMonth()]}`;
  const hour = (when) => `${two(when.getUTCHours())}:${two(when.getUTCMinutes())}`;
  const moment = (s) => `${day(wall(s))} ${wall(s).getUTCFullYear()} ${hour(wall(s))} ${offset(s)[2]}`;

  const DAY = 86400;
  const STEPS = [60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200];
  for (const days of [1, 2, 7, 14, 28, 56, 112, 364]) STEPS.push(days * DAY);
  function ticks(from, to, most) {
    const step = STEPS.find((one) => (to - from) / one <= most) || STEPS[STEPS.length - 1];
    const found = [];
    const end = to + offset(to)[1];
    for (let s = Math.ceil((from + offset(from)[1]) / step) * step; s <= end; s += step) {
      const there = s - offset(s - offset(s)[1])[1];
      if (there >= from && there <= to && !(there <= found[found.length - 1])) found.push(there);
    }
    return found;
  }
  function label(s) {
    const when = wall(s);
    return when.getUTCHours() + when.getUTCMinutes() === 0 ? day(when) : hour(when);
  }
  // The first sample at or after a moment.
  function first(s) {
    let low = 0;
    let high = at.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (at[middle] < s) low = middle + 1;
      else high = middle;
    }
    return low;
  }

  const SHORTEST = 600;
  let view = whole;
  let here = null; // where the cursor stands
  const panels = [];
  const time = document.getElementById("time");
  const readout = document.getElementById("readout");

  function look(from, to) {
    const length = Math.min(Math.max(to - from, Math.min(SHORTEST, whole[1] - whole[0])), whole[1] - whole[0]);
    const middle = (from + to) / 2;
    const start = Math.min(Math.max(middle - length / 2, whole[0]), whole[1] - length);
    view = [start, start + length];
    for (const one of panels) one.setScale("x", { min: view[0], max: view[1] });
    document.getElementById("view").textContent = `Shown: ${moment(view[0])} to ${moment(view[1])}`;
    if (here !== null) point(Math.min(Math.max(here, view[0]), view[1]));
    onLook(view, view[1] - view[0] >= whole[1] - whole[0]);
  }
  const zoom = (by) => {
    const centre = here === null ? (view[0] + view[1]) / 2 : here;
    const share = (centre - view[0]) / (view[1] - view[0]);
    const length = (view[1] - view[0]) * by;
    look(centre - share * length, centre + (1 - share) * length);
  };
  const shift = (by) => {
    const length = view[1] - view[0];
    look(view[0] + by * length, view[1] + by * length);
  };

  // What stands under the cursor: one sample, or the lowest to the highest of its column of pixels.
  function said(values, from, to, unit, digits) {
    let low = Infinity;
    let high = -Infinity;
    for (let index = from; index < to; index++) {
      const value = values[index];
      if (value === null) continue;
      if (value < low) low = value;
      if (value > high) high = value;
    }
    if (low === Infinity) return "-";
    const plain = (value) => value.toFixed(digits).replace(/^-(0\.?0*)$/, "$1");
    return plain(low) === plain(high) ? `${plain(low)} ${unit}` : `${plain(low)} to ${plain(high)} ${unit}`;
  }
  function read(s) {
    const half = (view[1] - view[0]) / Math.max(panels[0].bbox.width / pixel(), 1) / 2;
    let from = first(s - half);
    let to = first(s + half);
    if (from === to) {
      // Between two samples the nearer one is meant.
      if (from > 0 && (from === at.length || s - at[from - 1] < at[from] - s)) from--;
      to = Math.min(from + 1, at.length);
    }
    const unit = `°${picture.unit}`;
    const seen = [...new Set(flags.slice(from, to))].filter((flag) => flag !== BREAK);
    const stretch = [...band].reverse().find((one) => one[0] <= s);
    const gap = picture.gaps.find((one) => one[0] < s - half && s + half < one[1]);
    if (gap) return [["time", moment(s)], ["reading", "nothing was recorded"]];
    const samples = to - from;
    const means = heat.slice(from, to).filter((value) => value !== null);
    const duty = means.length ? `${(means.reduce((a, b) => a + b) / means.length).toFixed(0)} %` : "-";
    const told = [["time", moment(samples === 1 ? at[from] : s)], ["inside", said(inside, from, to, unit, 1)]];
    if (stretch) told.push(["band", `${stretch[2].toFixed(1)} to ${stretch[3].toFixed(1)} ${unit}`]);
    if (picture.outdoor) told.push(["outdoors", said(outdoor, from, to, unit, 1)]);
    if (picture.humidity) told.push(["dew point", said(dew, from, to, unit, 1)]);
    if (picture.humidity) told.push(["humidity", said(humidity, from, to, "%", 0)]);
    told.push(["heat on", duty], ["reading", seen.map((flag) => FLAGS[flag] || flag).join(", ") || "-"]);
    return told;
  }
  let isPointing = false;
  function point(s) {
    here = s;
    isPointing = true;
    for (const one of panels) one.setCursor({ left: one.valToPos(s, "x"), top: -10 });
    isPointing = false;
    const told = read(s);
    readout.replaceChildren(
      ...told.map(([name, value]) => {
        const entry = document.createElement("div");
        const term = document.createElement("dt");
        const about = document.createElement("dd");
        term.textContent = name;
        about.textContent = value;
        entry.append(term, about);
        return entry;
      }),
    );
    time.setAttribute("aria-valuenow", String(Math.round(s - whole[0])));
    time.setAttribute("aria-valuetext", told.map(([name, value]) => `${name} ${value}`).join(", "));
  }

  // Drawing that uPlot leaves to us; all of it in the pixels of the canvas.
  function clipped(u, draw) {
    const { ctx, bbox } = u;
    ctx.save();
    ctx.beginPath();
    ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
    ctx.clip();
    draw(ctx, bbox, (s) => u.valToPos(s, "x", true), (value) => u.valToPos(value, "y", true));
    ctx.restore();
  }
  const inView = (from, to) => to >= view[0] && from <= view[1];
  function drawBand(u) {
    clipped(u, (ctx, box, x, y) => {
      for (const [from, to, low, high] of band.filter((one) => inView(one[0], one[1]))) {
        const [left, right, top, foot] = [x(from), x(to), y(high), y(low)];
        ctx.fillStyle = colour("band");
        ctx.fillRect(left, top, Math.max(right - left, 1), foot - top);
        ctx.strokeStyle = colour("edge");
        ctx.lineWidth = pixel();
        ctx.setLineDash(picture.dashes.edge.map((one) => one * pixel()));
        ctx.beginPath();
        // Between two rows of pixels a thin line would be half as strong.
        for (const edge of [top, foot].map((y) => Math.floor(y) + 0.5)) {
          ctx.moveTo(left, edge);
          ctx.lineTo(right, edge);
        }
        ctx.stroke();
      }
    });
  }
  function drawGaps(u) {
    clipped(u, (ctx, box, x) => {
      ctx.strokeStyle = colour("gap");
      ctx.lineWidth = 1.5 * pixel();
      for (const [from, to] of picture.gaps.filter((one) => inView(one[0], one[1]))) {
        const left = Math.max(x(from), box.left);
        const right = Math.max(Math.min(x(to), box.left + box.width), left + pixel());
        ctx.save();
        ctx.beginPath();
        ctx.rect(left, box.top, right - left, box.height);
        ctx.clip();
        ctx.beginPath();
        for (let start = left - box.height; start < right; start += 8 * pixel()) {
          ctx.moveTo(start, box.top + box.height);
          ctx.lineTo(start + box.height, box.top);
        }
        ctx.strokeRect(left, box.top - 1, right - left, box.height + 2);
        ctx.stroke();
        ctx.restore();
      }
    });
  }
  function drawMarks(u, isTop) {
    const { ctx, bbox } = u;
    const size = pixel();
    let taken = -Infinity;
    ctx.save();
    ctx.font = `600 ${12 * size}px system-ui, sans-serif`;
    ctx.textAlign = "center";
    for (const [kind, from, to, name] of picture.marks) {
      if (!inView(from, to === null ? from : to)) continue;
      const begin = u.valToPos(from, "x", true);
      const x = Math.max(begin, bbox.left);
      ctx.strokeStyle = ctx.fillStyle = colour(kind === "alarm" ? "alarm" : "quiet");
      ctx.lineWidth = (kind === "alarm" ? 1.5 : 1) * size;
      ctx.setLineDash(kind === "alarm" ? [] : [size, 3 * size]);
      ctx.beginPath();
      if (kind !== "gap" && begin >= bbox.left) {
        ctx.moveTo(begin, bbox.top);
        ctx.lineTo(begin, bbox.top + bbox.height);
      }
      if (kind === "alarm" && isTop) {
        const end = to === null ? x + 6 * size : Math.min(u.valToPos(to, "x", true), bbox.left + bbox.width);
        ctx.moveTo(x, bbox.top);
        ctx.lineTo(end, bbox.top);
      }
      ctx.stroke();
      if (isTop && x >= taken) {
        ctx.fillText(name, x, bbox.top - 5 * size);
        taken = x + 26 * size;
      }
    }
    ctx.restore();
  }
  function drawDoubts(u) {
    clipped(u, (ctx, box, x, y) => {
      const size = pixel();
      const foot = box.top + box.height;
      ctx.strokeStyle = colour("doubt");
      ctx.lineWidth = 1.5 * size;
      ctx.beginPath();
      const isDense = first(view[1]) - first(view[0]) > (box.width / size) * DENSE;
      let last = -Infinity;
      for (const index of doubts) {
        if (!inView(at[index], at[index])) continue;
        const left = Math.round(x(at[index]));
        if (left !== last) {
          ctx.moveTo(left, foot - 8 * size);
          ctx.lineTo(left, foot);
        }
        if (inside[index] !== null && left !== last && !isDense) {
          const top = y(inside[index]);
          const arm = 3.5 * size;
          ctx.moveTo(left - arm, top - arm);
          ctx.lineTo(left + arm, top + arm);
          ctx.moveTo(left + arm, top - arm);
          ctx.lineTo(left - arm, top + arm);
        }
        last = left;
      }
      ctx.stroke();
    });
  }
  // Where a line is dense its dashes run together, so its name stands at its end as well.
  function drawNames(u) {
    const { ctx, bbox } = u;
    const size = pixel();
    const end = first(view[1] + 1) - 1;
    const ends = [];
    for (const [name, values] of Object.entries({ inside, outdoors: outdoor, "dew point": dew })) {
      let index = end;
      while (index >= 0 && at[index] >= view[0] && values[index] === null) index--;
      if (index >= 0 && at[index] >= view[0]) ends.push([u.valToPos(values[index], "y", true), name]);
    }
    ctx.save();
    ctx.font = `${12 * size}px system-ui, sans-serif`;
    ctx.textAlign = "left";
    ctx.fillStyle = colour("quiet");
    let taken = -Infinity;
    for (const [y, name] of ends.sort((a, b) => a[0] - b[0])) {
      taken = Math.max(y, taken + 13 * size);
      ctx.fillText(name, bbox.left + bbox.width + 4 * size, taken + 4 * size);
    }
    ctx.restore();
  }
  function drawHeat(u) {
    clipped(u, (ctx, box, x, y) => {
      const least = ((view[1] - view[0]) / box.width) * 5 * pixel();
      const step = STEPS.find((one) => one >= least) || STEPS[STEPS.length - 1];
      ctx.fillStyle = colour("heat");
      const from = Math.floor(view[0] / step) * step;
      for (let start = from, index = first(from); start < view[1]; start += step) {
        let sum = 0;
        let count = 0;
        for (; index < at.length && at[index] < start + step; index++) {
          if (heat[index] === null) continue;
          sum += heat[index];
          count++;
        }
        if (!sum) continue;
        const left = x(start);
        const top = y(sum / count);
        ctx.fillRect(left, top, Math.max(x(start + step) - left - pixel(), pixel()), y(0) - top);
      }
    });
  }

  // The panels, one under the other.
  const font = "12px system-ui, sans-serif";
  const dashes = (name) => picture.dashes[name].map((one) => one);
  const line = (name, text) => ({
    label: text,
    stroke: () => colour(name),
    width: picture.widths[name],
    dash: dashes(name),
    points: { show: false },
  });
  function panel(name, values, height, options) {
    const isLast = name === "heat";
    const isTop = name === "temperature";
    const u = new uPlot(
      {
        width: time.clientWidth,
        height,
        padding: [isTop ? 22 : 8, NAMES, 0, 0],
        legend: { show: false },
        cursor: { y: false, points: { show: false }, drag: { x: true, y: false, setScale: false } },
        scales: { x: { time: false, range: () => view }, y: { range: options.range } },
        axes: [
          {
            stroke: () => colour("quiet"),
            grid: { stroke: () => colour("grid"), width: 1 },
            ticks: { stroke: () => colour("grid"), width: 1, size: isLast ? 5 : 0 },
            size: isLast ? 30 : 6,
            font,
            splits: (self) => ticks(view[0], view[1], Math.max(self.bbox.width / pixel() / 64, 2)),
            values: (self, splits) => splits.map((s) => (isLast ? label(s) : "")),
          },
          {
            stroke: () => colour("quiet"),
            grid: { stroke: () => colour("grid"), width: 1 },
            ticks: { show: false },
            size: 44,
            font,
            ...options.axis,
          },
        ],
        series: [{}, ...options.series],
        hooks: {
          drawClear: [(self) => { if (isTop) drawBand(self); drawGaps(self); }],
          draw: [
            (self) => {
              if (isLast) drawHeat(self);
              if (isTop) drawDoubts(self);
              if (isTop) drawNames(self);
              drawMarks(self, isTop);
            },
          ],
          setCursor: [
            (self) => { if (!isPointing && self.cursor.left >= 0) point(self.posToVal(self.cursor.left, "x")); },
          ],
          setSelect: [
            (self) => {
              const { left, width } = self.select;
              if (width < 4) return;
              const range = [self.posToVal(left, "x"), self.posToVal(left + width, "x")];
              self.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
              look(range[0], range[1]);
            },
          ],
        },
      },
      [at, ...values()],
      document.getElementById(`panel-${name}`),
    );
    u.fill = () => u.setData([at, ...values()], false);
    panels.push(u);
  }
  const room = (u, low, high) => {
    const edges = band.filter((one) => inView(one[0], one[1])).flatMap((one) => [one[2], one[3]]);
    const least = Math.min(low === null ? Infinity : low, ...edges);
    const most = Math.max(high === null ? -Infinity : high, ...edges);
    if (!(least <= most)) return [0, 1];
    const more = Math.max((most - least) * 0.06, picture.unit === "F" ? 0.9 : 0.5);
    return [least - more, most + more];
  };
  const percents = { range: () => [0, 100], axis: { splits: () => [0, 50, 100] } };
  // The room that a phone has is too dear for tall panels.
  const tall = Math.max(220, Math.min(360, Math.round(window.innerHeight * 0.42)));
  const lines = [];
  if (picture.outdoor) lines.push(["outdoor", "outdoors", () => outdoor]);
  if (picture.humidity) lines.push(["dew", "dew point", () => dew]);
  lines.push(["inside", "inside", () => inside]);
  page.classList.add("live");
  panel("temperature", () => lines.map(([, , values]) => values()), tall, {
    range: room,
    axis: {},
    series: lines.map(([name, text]) => line(name, text)),
  });
  if (picture.humidity) panel("humidity", () => [humidity], 110, { ...percents, series: [line("humidity", "humidity")] });
  panel("heat", () => [heat], 116, { ...percents, series: [{ label: "heat on", paths: () => null, points: { show: false } }] });

  const redraw = () => panels.forEach((one) => one.redraw(true, true));
  const scheme = matchMedia("(prefers-color-scheme: dark)");
  scheme.addEventListener("change", redraw);
  const follow = new ResizeObserver(() => {
    for (const one of panels) if (time.clientWidth && one.width !== time.clientWidth) one.setSize({ width: time.clientWidth, height: one.height });
  });
  follow.observe(time);

  const acts = {
    closer: () => zoom(0.5),
    wider: () => zoom(2),
    earlier: () => shift(-0.5),
    later: () => shift(0.5),
    all: () => look(whole[0], whole[1]),
  };
  for (const [name, act] of Object.entries(acts)) document.getElementById(name).addEventListener("click", act);
  const walk = (steps) => point(Math.min(Math.max((here === null ? view[0] : here) + ((view[1] - view[0]) / 100) * steps, view[0]), view[1]));
  const keys = {
    ArrowLeft: () => walk(-1),
    ArrowRight: () => walk(1),
    ArrowDown: () => walk(-1),
    ArrowUp: () => walk(1),
    Home: () => point(view[0]),
    End: () => point(view[1]),
    PageUp: acts.earlier,
    PageDown: acts.later,
    "+": acts.closer,
    "=": acts.closer,
    "-": acts.wider,
    0: acts.all,
    Escape: acts.all,
  };
  time.addEventListener("keydown", (event) => {
    const act = event.ctrlKey || event.altKey || event.metaKey ? null : keys[event.key];
    if (!act) return;
    event.preventDefault();
    act();
  });
  function newest() {
    let index = at.length - 1;
    while (index > 0 && flags[index] === BREAK) index--;
    return at[index];
  }
  // New samples in the panels. The whole stays the whole, and a cursor at its end stays at the end.
  function show(from, to) {
    for (const one of panels) one.fill();
    time.setAttribute("aria-valuemax", String(Math.round(whole[1] - whole[0])));
    look(from, to);
  }
  function update(told) {
    const wasWhole = view[1] - view[0] >= whole[1] - whole[0];
    const wasAtEnd = here === newest();
    picture = told;
    take(unpacked(told));
    if (wasAtEnd) here = newest();
    if (wasWhole) show(whole[0], whole[1]);
    else show(view[0], view[1]);
  }
  function refine(told) {
    const finer = unpacked(told);
    const [from, to] = [first(told.from), first(told.to + 1)];
    const coarse = { at, inside, outdoor, dew, humidity, heat, flags };
    const merged = Object.entries(coarse).map(([name, values]) => [
      name,
      [...values.slice(0, from), ...finer[name], ...values.slice(to)],
    ]);
    take(Object.fromEntries(merged));
    show(view[0], view[1]);
  }
  function destroy() {
    scheme.removeEventListener("change", redraw);
    follow.disconnect();
    for (const one of panels) one.destroy();
  }
  here = newest();
  show(whole[0], whole[1]);
  return { update, refine, destroy };
};
(() => {
  const data = document.getElementById("picture");
  if (data) window.overwinterChart(JSON.parse(data.textContent));
})();
