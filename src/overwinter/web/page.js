// Keeps the page fresh: the present state as the guard tells it, and the chart when there are new samples.
// What did not change is not touched: a place on the keyboard, an open table, a selection stay what they are.
(() => {
  "use strict";
  const now = document.getElementById("now");
  const record = document.getElementById("record");
  const link = document.getElementById("link");
  const CHART_EVERY_MS = { day: 30000, week: 120000, season: 600000 };
  const SILENT_MS = 45000; // the server says something every 15 s
  const AGAIN_MS = 30000; // after it refused
  const LOOK_MS = 400; // the eye rests
  const CLOSER = 3; // so much closer than what was drawn, and more samples are asked for
  const OF_THE_CHART = new Set(["time", "view", "readout"]);
  const span = record.dataset.span;

  function morph(old, fresh) {
    const there = [...old.childNodes];
    const wanted = [...fresh.childNodes];
    wanted.forEach((node, index) => {
      const one = there[index];
      if (!one) old.append(node);
      else if (one.nodeName !== node.nodeName || (one.id || "") !== (node.id || "")) one.replaceWith(node);
      else if (one.nodeType !== Node.ELEMENT_NODE) one.data === node.data || (one.data = node.data);
      else if (!OF_THE_CHART.has(one.id)) {
        for (const { name, value } of node.attributes) {
          if (one.getAttribute(name) !== value) one.setAttribute(name, value);
        }
        for (const name of one.getAttributeNames()) {
          if (!node.hasAttribute(name) && name !== "open") one.removeAttribute(name);
        }
        morph(one, node);
      }
    });
    for (const one of there.slice(wanted.length)) one.remove();
  }
  // Made and escaped by our own server; a template runs no script.
  function put(place, html) {
    const template = document.createElement("template");
    template.innerHTML = html;
    morph(place, template.content);
  }

  // The chart.
  let samples = null;
  let drawnAt = 0;
  let isDrawing = false;
  let chart = null;
  let shape = "";
  let picture = null;
  let finer = null; // the span of which more samples are there
  let resting = 0;

  function say(html) {
    if (!chart) put(record, html);
  }
  async function draw() {
    if (isDrawing) return;
    isDrawing = true;
    drawnAt = Date.now();
    try {
      const answer = await fetch(`/record?span=${span}`);
      if (!answer.ok) throw new Error((await answer.text()).trim());
      const told = await answer.json();
      const itsShape = told.picture && `${told.picture.unit} ${told.picture.outdoor} ${told.picture.humidity}`;
      if (chart && itsShape !== shape) {
        chart.destroy();
        chart = null;
        record.replaceChildren();
      }
      finer = null;
      picture = told.picture;
      shape = itsShape;
      put(record, told.html);
      if (!picture) return;
      if (chart) chart.update(picture);
      else chart = window.overwinterChart(picture, { onLook: look });
    } catch (error) {
      const line = document.createElement("p");
      line.className = "told";
      line.textContent = `The chart could not be fetched. ${error.message}`;
      say(line.outerHTML);
    } finally {
      isDrawing = false;
    }
  }
  function look([from, to]) {
    clearTimeout(resting);
    const isFine = !picture.thin || (to - from) * CLOSER > picture.to - picture.from;
    const isThere = finer && finer[0] <= from && to <= finer[1] && (to - from) * CLOSER > finer[1] - finer[0];
    if (!isFine && !isThere) resting = setTimeout(() => refine(from, to), LOOK_MS);
  }
  async function refine(from, to) {
    const more = (to - from) / 4; // a step to either side needs nothing new
    const asked = picture;
    try {
      const ends = `from=${Math.floor(from - more)}&to=${Math.ceil(Math.min(to + more, picture.to))}`;
      const answer = await fetch(`/record?${ends}`);
      if (!answer.ok) return;
      const told = await answer.json();
      if (!told.picture || picture !== asked) return;
      finer = [told.picture.from, told.picture.to];
      if (!told.picture.thin) finer = [from - more, to + more];
      chart.refine(told.picture);
    } catch {
      // What is there stays; the next look asks again.
    }
  }

  // The present state.
  let source = null;
  let silence = 0;
  let lostAt = null;

  function heard() {
    lostAt = null;
    if (link.textContent) link.textContent = "";
    clearTimeout(silence);
    silence = setTimeout(() => lost(connect), SILENT_MS);
  }
  function lost(then, why = "The link to the pump house is lost") {
    lostAt = lostAt || new Date();
    const since = `${String(lostAt.getHours()).padStart(2, "0")}:${String(lostAt.getMinutes()).padStart(2, "0")}`;
    const text = `${why}. What stands here is of ${since} (by this screen's clock) or older. Trying again.`;
    if (link.textContent !== text) link.textContent = text;
    if (then) then();
  }
  function connect() {
    clearTimeout(silence);
    if (source) source.close();
    source = new EventSource(now.dataset.live);
    silence = setTimeout(() => lost(connect), SILENT_MS);
    source.addEventListener("beat", heard);
    source.addEventListener("now", (event) => {
      const wasLost = lostAt !== null;
      heard();
      const told = JSON.parse(event.data);
      put(now, told.html);
      const isNew = samples !== null && told.samples !== samples;
      samples = told.samples;
      if (wasLost || ((isNew || !picture) && Date.now() - drawnAt >= CHART_EVERY_MS[span])) draw();
    });
    source.addEventListener("error", () => {
      const isRefused = source.readyState === EventSource.CLOSED;
      if (!isRefused) lost(null);
      else {
        lost(null, "This page is not told of changes, because many pages are open");
        clearTimeout(silence);
        silence = setTimeout(connect, AGAIN_MS);
      }
    });
  }
  connect();
  draw();
})();
