// The day page while the server does not answer: drawn from the pocket, for where the shooter stands by what this phone
// has done since. What the server draws later takes its place.
"use strict";
{
  const FORMAT = 1; // of the pocket, as this script reads it
  const STATES_MOST = 12; // that undo can go back to
  const AGAIN = 60000; // ms, until a pocket is asked for that the server may have made larger meanwhile
  const RESTS = 5000; // ms, without a tap
  const RESTED = 50; // ms, for an answer that is here to be drawn
  const MINUTE = 60000; // ms
  const { ev, capital } = pocketWords;
  const page = () => document.getElementById("day");
  const dayPath = page().dataset.day;

  let base = null; // where the shooter stood when the server drew last
  let states = []; // and before that, by the last thing done
  let pocket = null;
  let skew = 0; // ms, by which the server's clock is ahead of the phone's
  let askedAt = -AGAIN;

  const html = (text) => String(text).replace(/[&<>"']/g, (c) => `&#${c.charCodeAt(0)};`);
  const now = () => Date.now() + skew;
  const clock = (at) => clockOf(at, pocket?.doc.zone);
  const saidBy = (entry) => Object.fromEntries(entry.fields);

  // What the page came with, or what was kept since, whichever is newer.
  const keep = () => cupboard.put(`state ${dayPath}`, { who: document.body.dataset.who, base, states, skew });
  const come = (state) => {
    base = state;
    const known = states.findIndex(({ last }) => last === state.last);
    states = [...(known < 0 ? states : states.slice(0, known)), state].slice(-STATES_MOST);
  };
  const learn = () => {
    const state = JSON.parse(page().dataset.state);
    if (base && state.made <= base.made) return;
    come(state);
    if (!("kept" in document.documentElement.dataset) || state.made > now()) skew = state.made - Date.now();
    keep();
  };

  const time = (text) => {
    const [over, under] = text.replace(/s$/, "").trim().split("/").map(Number);
    return under ? over / under : over;
  };
  const rigFrom = (fields) => {
    const some = (name) => fields.filter(([its, value]) => its === name && value).map(([, value]) => value);
    const one = (name) => some(name)[0];
    return {
      holder_on: Boolean(one("holder_on")), slots: some("slots"), threads: some("threads"), built_in: Number(one("built_in") ?? 0),
      aperture: Number(one("aperture")), shutter: time(one("shutter")), iso: Number(one("iso")), front: one("front") ?? null,
      turned: one("turned") === undefined ? null : Number(one("turned")),
    };
  };

  // The level [EV] of a reading, where its figures are among those that the server handed out; else null.
  const number = (text) => {
    const line = (text ?? "").trim().replace(/\u2212/g, "-").replace(/^\+/, "");
    return /^-?\d{1,7}([.,]\d{1,4})?$/.test(line) ? Number(line.replace(",", ".")) : null;
  };
  const levelOf = (fields, rig) => {
    const of = saidBy({ fields });
    const value = number(of.value);
    const { units, isos, irises, shutters, clicks } = pocket.doc;
    const mark = (list, its) => list.find(([each]) => Math.abs(each - its) < 1e-3 * each);
    if (of.kind === "ev") {
      const iso = mark(isos, number(of.iso || "100"));
      return value === null || !iso ? null : value - iso[1] / 3;
    }
    if (of.kind === "lux" || of.kind === "luminance") return value > 0 ? Math.log2(value) + units[of.kind] : null;
    if (of.kind !== "camera" && of.kind !== "eye") return null;
    const iris = mark(irises, Number(of.aperture.replace(/^f\/?/i, "")));
    const shutter = mark(shutters, time(of.shutter));
    const iso = mark(isos, number(of.iso));
    const meter = of.meter ? number(of.meter) : 0;
    if (!iris || !shutter || !iso || meter === null) return null;
    return iris[1] / clicks + shutter[1] - iso[1] / 3 + pocket.glassStops(rig) + meter;
  };

  const placeOf = (entry) => entry.url.match(/places\/(\d+)\//)[1];
  const laid = {
    moves(state, of) {
      const stop = of.stop ? Number(of.stop) : null;
      const done = stop === null ? state.done : [...state.done.filter((each) => each !== stop), stop];
      return { ...state, here: Number(of.place), stop, done, rig: JSON.parse(of.tap).rig };
    },
    nudges(state, of) {
      const level = state.levels[of.place];
      if (level === undefined) return state;
      return { ...state, levels: { ...state.levels, [of.place]: level + Number(of.clicks) / 3 } };
    },
    rig: (state, of, entry) => ({ ...state, rig: rigFrom(entry.fields) }),
    clips: (state, of) => ({ ...state, clip: of.name }),
    shifts(state, of) {
      if (!pocket) return state;
      const order = pocket.doc.order.map((stop) => stop.number);
      const shifts = { ...state.shifts };
      for (const stop of order.slice(order.indexOf(Number(of.stop)))) shifts[stop] = (shifts[stop] ?? 0) + Number(of.minutes);
      return { ...state, shifts };
    },
    // What a photo says, only the server reads.
    photo: (state, of, entry) => ({ ...state, unread: { ...state.unread, [placeOf(entry)]: true } }),
    readings(state, of, entry) {
      if (!pocket || (of.part && of.part !== "face") || of.taken) return state;
      const place = placeOf(entry);
      const level = levelOf(entry.fields, state.rig);
      if (level === null) return { ...state, unread: { ...state.unread, [place]: true } };
      const drift = (pocket.forecast(Number(place), state.at) ?? 0) - (pocket.forecast(Number(place), entry.made + skew) ?? 0);
      return {
        ...state, unread: { ...state.unread, [place]: false }, levels: { ...state.levels, [place]: level + drift },
        read: { ...state.read, [place]: entry.made + skew },
      };
    },
  };
  const lay = (state, entry) => {
    const act = laid[outbox.kindOf(entry)];
    return { ...(act ? act(state, saidBy(entry), entry) : state), last: entry.id };
  };

  // Where the shooter stands after these, which are in order; lost: an undo goes back further than this phone knows.
  const after = (start, entries) => {
    let from = start;
    let lost = false;
    const standing = [];
    for (const entry of entries) {
      if (outbox.kindOf(entry) !== "undo") {
        standing.push(entry);
        continue;
      }
      const id = saidBy(entry).event;
      const at = standing.findIndex((each) => each.id === id);
      if (at >= 0) standing.splice(at, 1);
      else if (id === from.last) {
        const before = states[states.findIndex(({ last }) => last === id) - 1];
        if (before) from = before;
        else lost = true;
      }
    }
    const state = standing.reduce(lay, from);
    return lost ? { ...state, lost, last: standing.length ? state.last : "" } : state;
  };
  // Where the shooter stands, with what was not sent yet; null until the page was read.
  const believed = () => {
    if (!base) return null;
    const waiting = outbox.waiting(dayPath);
    const there = waiting.findIndex(({ id }) => id === base.last); // it arrived, and only its answer was lost
    return after(base, waiting.slice(there + 1));
  };

  // --- drawing ---

  const bars = (told, clicks, stepless) => {
    if (stepless || !told.clicks) return "";
    const [low, high] = [5, 20];
    const step = (high - low) / Math.max(told.clicks - 1, 1);
    const heights = [...Array(told.clicks)].map((_, n) => (told.clicks === 1 ? high : low + step * n));
    if (told.way !== "open") heights.reverse();
    const x = (n) => 8 * n + 6 * Math.floor(n / clicks);
    const width = x(told.clicks - 1) + 5;
    const path = heights.map((height, n) => `M${x(n)} 20v-${+height.toFixed(1)}h5v${+height.toFixed(1)}z`).join("");
    return `<svg viewBox="0 0 ${width} 20" width="${width}" aria-hidden="true"><path d="${path}"/></svg>`;
  };
  const answer = (told, minds) => {
    const { clicks, stepless } = pocket.doc;
    const settings = told.nothing
      ? `<span class="glass">${say("Nothing to do")}</span><span class="turn"><span class="keep">${told.to}, ${told.iso}</span></span>`
      : `${told.glass ? `<span class="glass">${html(told.glass)}</span>` : `<span class="glass soft">${say("Leave the glass")}</span>`}
<span class="turn">${told.way === "stay" ? `<span class="keep">${say("stay at {to}", { to: told.to })}</span>` : `${told.turn} ${bars(told, clicks, stepless)} <span>${say("to {to}", { to: told.to })}</span>`}
<span${told.newIso ? "" : ' class="keep"'}>${told.iso}</span>${told.newShutter ? `<span>${told.shutter}</span>` : ""}</span>`;
    const short = told.wrong && `<span class="short">${capital(told.wrong)}${told.cure && `: ${told.cure}`}</span>`;
    return `<span class="answer">${settings}${short}${minds.map((each) => `<span class="mind">${html(capital(each))}</span>`).join("")}</span>`;
  };
  const inShort = (told) => [
    told.glass ? goesOn(told.glass) : say("leave the glass"),
    ...(told.way === "stay" ? [] : [say("{turn} to {to}", { turn: told.turn, to: told.to })]),
    ...(told.newIso ? [told.iso] : []), ...(told.newShutter ? [told.shutter] : []), ...(told.wrong ? [told.wrong] : []),
  ].join(", ");

  const mayMove = () => Boolean(page().querySelector(".bar"));
  const button = (kind, name, rig, inside) => (mayMove()
    ? `<button class="${kind}" name="tap" value="${html(JSON.stringify({ answer: name, rig }))}">${inside}</button>`
    : `<div class="${kind}">${inside}</div>`);
  const form = (place, stop, inside) => (mayMove()
    ? `<form method="post" action="${dayPath}/moves"><input type="hidden" name="event_id" value="">
<input type="hidden" name="place" value="${place}">${stop ? `<input type="hidden" name="stop" value="${stop}">` : ""}${inside}</form>`
    : `<div>${inside}</div>`);

  const level = (state, place, at) => {
    const its = state.levels[place];
    if (its === undefined) return null;
    return its + (pocket.forecast(place, at) ?? 0) - (pocket.forecast(place, state.at) ?? 0);
  };

  // The two buttons of a place, or why there are none.
  const row = (state, place, look, at, name, stop, lens) => {
    const { tolerance, rush, cannot } = pocket.doc.looks[look];
    const light = level(state, place.number, at);
    const head = `<span class="place"><b>${name}</b><span>${light === null ? place.kind : ev(light)}${light !== null && place.lamps ? `, ${say("lamps")}` : ""}</span></span>`;
    if (light === null) {
      const inside = `${head}<span class="glass soft">${mayMove() ? say("No reading yet: meter it") : say("No reading yet")}</span>`;
      const unread = mayMove() ? `<a class="go unread" href="${dayPath}/places/${place.number}/reading">${inside}</a>` : `<div class="go unread">${inside}</div>`;
      return { nothing: true, html: unread };
    }
    if (cannot) return { nothing: true, html: `<div class="go unread">${head}<span class="short">${say("Its look cannot be worn on this lens: {why}", { why: html(cannot) })}</span></div>` };
    const { clean, fast, saves } = pocket.answers(state.rig, look, light);
    const told = (rig, allowed) => pocket.told(state.rig, rig, light - pocket.exposes(rig), allowed);
    const minds = [
      ...(state.unread?.[place.number] ? [say("the reading that waits to be sent is not in this yet")] : []),
      ...(place.mind && !state.read?.[place.number] ? [place.mind] : []),
      ...(lens ? [say("worked out for the lens that is on now")] : []),
      ...pocket.cautions(clean, place.number, { here: false }),
    ];
    const cleanly = told(clean, tolerance);
    const asides = place.matching.length ? `<span class="aside">${place.matching.map((each) => `<span>${html(each)}</span>`).join("")}</span>` : "";
    const rushed = fast ? button("rush", "fast", fast, `${say("In a rush: {answer}", { answer: html(inShort(told(fast, rush))) })} <span class="saves">${say("saves {time}", { time: `${pocketWords.rounded(saves)} s` })}</span>`) : "";
    return { nothing: cleanly.nothing,
      html: form(place.number, stop, button("go", "clean", clean, `${head}${answer(cleanly, minds)}${asides}`) + rushed) };
  };

  // The stops that come, each at its own time; those that were due long ago, with the next one due too, have gone by.
  const HOUR = 3600000; // ms
  const ahead = (state, live) => {
    const order = pocket.doc.order.map((stop) => ({ ...stop, at: stop.planned + (state.shifts[stop.number] ?? 0) * MINUTE }));
    const last = state.done.findLast((each) => order.some(({ number: its }) => its === each));
    let stops = order.slice(last === undefined ? 0 : order.findIndex(({ number: its }) => its === last) + 1);
    stops = stops.filter((stop) => !state.done.includes(stop.number));
    while (live && stops.length > 1 && now() - stops[0].at > HOUR && stops[1].at <= now()) stops = stops.slice(1);
    return stops;
  };
  const wait = (milliseconds) => {
    const minutes = pocketWords.rounded(milliseconds / MINUTE);
    if (!minutes) return say("now");
    const [hours, rest] = [Math.floor(Math.abs(minutes) / 60), Math.abs(minutes) % 60];
    const time = [
      ...(hours ? [sayMany("{count} hour", "{count} hours", hours)] : []), ...(rest ? [sayMany("{count} minute", "{count} minutes", rest)] : []),
    ].join(" ");
    return minutes > 0 ? say("in {time}", { time }) : say("{time} late", { time });
  };

  const rows = (state, moment, live) => {
    const { places } = pocket;
    const seen = new Set();
    const drawn = [];
    let between = [];
    for (const stop of ahead(state, live)) {
      const place = places.get(stop.place);
      if (!place) {
        between.push(stop);
        continue;
      }
      if (seen.has(stop.place)) continue;
      seen.add(stop.place);
      const first = !drawn.length;
      const at = live ? Math.max(stop.at, moment) : stop.at;
      const waits = live ? wait(stop.at - now()) : "";
      const comes = `${between.map((each) => `<p class="between">${clock(each.at)} ${html(each.name)}</p>`).join("")}
<p class="when-stop">${first ? `<b>${state.here ? sayAs("the next stop", "Next") : say("Start here")}${waits && `, ${waits}`}:</b> ` : ""}<span class="ev">${clock(stop.at)}</span>${stop.name === place.name ? "" : ` ${html(stop.name)}`}${waits && !first ? `, ${waits}` : ""}</p>
${stop.notes && first ? `<p class="hint">${html(stop.notes)}</p>` : ""}${stop.lens ? `<p class="short">${say("Lens first: {lens}", { lens: html(stop.lens) })}</p>` : ""}`;
      between = [];
      drawn.push(`<li id="at-${place.number}${place.number === state.here ? "-here" : ""}"${first ? ' class="next"' : ""}>${comes}${row(state, place, stop.look, at, html(place.name), stop.number, stop.lens).html}</li>`);
    }
    const list = [...places.values()];
    const here = list.findIndex((place) => place.number === state.here);
    for (const place of [...list.slice(here + 1), ...list.slice(0, Math.max(here, 0))]) {
      if (seen.has(place.number)) continue;
      drawn.push(`<li id="at-${place.number}"${drawn.length ? "" : ' class="next"'}>${row(state, place, place.look, moment, html(place.name)).html}</li>`);
    }
    return drawn.join("") || `<li class="notice">${say("This day has no other place.")}</li>`;
  };

  const glassPicture = (rig) => {
    const mark = (id) => pocket.filters.get(id)?.mark ?? "";
    const { slots } = pocket.doc;
    const rings = rig.threads.map(mark);
    const held = [...rig.slots.map(mark), ...Array(Math.max(0, (slots ?? 0) - rig.slots.length)).fill("")];
    const front = rig.front == null ? "" : mark(rig.front);
    const start = 40 + rings.length * 36 + (rig.holder_on ? 0 : 18);
    const width = start + held.length * 36 + (front ? 38 : 2);
    const slot = (label, n) => {
      const x = start + 4 + n * 36;
      const grad = label && pocket.filters.get(rig.slots[n])?.kind === "grad";
      return `<rect x="${x}" y="3" width="29" height="54" rx="2"${label ? "" : ' stroke-dasharray="3 5" stroke-width="1.5"'}/>${grad ? `<path d="M${x} 10h29M${x} 16h29"/>` : ""}`;
    };
    const joint = rig.holder_on ? `<path d="M37 30h${6 + rings.length * 36}"/>` : `<path d="M${start - 10} 8v44" stroke-dasharray="2 6"/>`;
    return `<svg class="rig-picture" viewBox="0 0 ${width} 60" width="${width}" height="60" fill="none" stroke="currentColor" stroke-width="2" aria-hidden="true">
<path d="M2 16h26v28H2z"/><path d="M28 10h9v40h-9z"/>${rig.built_in ? '<path d="M15 16v28" stroke-width="5"/>' : ""}
${rings.map((_, n) => `<rect x="${41 + n * 36}" y="10" width="32" height="40" rx="8"/>`).join("")}${held.map(slot).join("")}
${front ? `<ellipse cx="${width - 18}" cy="30" rx="16" ry="25"/>` : ""}${slots === null ? "" : joint}
<g font-size="13" font-weight="700" fill="currentColor" stroke="none" text-anchor="middle">${rings.map((label, n) => `<text x="${57 + n * 36}" y="35">${html(label)}</text>`).join("")}${held.map((label, n) => (label ? `<text x="${start + 18.5 + n * 36}" y="35">${html(label)}</text>` : "")).join("")}${front ? `<text x="${width - 18}" y="35">${html(front)}</text>` : ""}</g></svg>`;
  };
  const moveScale = (svg, rig, look) => {
    const { irises, scale, clicks } = pocket.doc;
    const along = (position) => +((100 * (Math.min(Math.max(position, scale[0]), scale[1]) - scale[0])) / Math.max(scale[1] - scale[0], 1)).toFixed(2);
    const at = irises.reduce((best, each) => (Math.abs(each[0] - rig.aperture) < Math.abs(best[0] - rig.aperture) ? each : best))[1];
    svg.querySelector('[stroke-width="2.2"]')?.setAttribute("d", `M${along(at)} 1v8`);
    svg.querySelector('[stroke-width="2"]')?.remove();
    const [from, to] = look ? [along(look.widest), along(look.narrowest)] : [0, 0];
    if (to > from) svg.querySelector("path").insertAdjacentHTML("afterend", `<path d="M${from} 9h${+(to - from).toFixed(2)}" stroke="currentColor" stroke-width="2"/>`);
  };

  const SAID = {
    moves: () => say("Kept. Undo takes it back."),
    nudges: (of) => (of.clicks > 0 ? say("Light rose a third of a stop.") : say("Light fell a third of a stop.")),
    undo: () => say("Taken back."),
    clips: (of) => say("{clip} noted.", { clip: of.name }),
    sky: () => say("Kept. The forecast goes by it once the server answers."),
    shifts: (of) => (of.minutes > 0 ? say("All {minutes} min later.", { minutes: of.minutes }) : say("All {minutes} min earlier.", { minutes: -of.minutes })),
  };
  const saidOf = (entry) => (entry && SAID[outbox.kindOf(entry)]?.(saidBy(entry))) ?? "";

  // What the server does not know yet of the light here.
  const nudgedWords = (state) => {
    const level = (from) => from.levels[state.here] ?? 0;
    const clicks = pocketWords.rounded(3 * (level(state) - level(base)));
    if (state.read?.[state.here]) return say("read {time}, not sent yet", { time: clock(state.read[state.here]) });
    if (!clicks) return "";
    const size = sayMany("{count} click", "{count} clicks", Math.abs(clicks));
    return clicks > 0 ? say("{size} brighter, not sent yet", { size }) : say("{size} darker, not sent yet", { size });
  };

  // What says the same already stays as it is: a thumb may be on it.
  const written = new WeakMap();
  const write = (element, text) => {
    const [before, came] = written.get(element) ?? [];
    if (before === text && element.innerHTML === came) return false;
    element.innerHTML = text;
    written.set(element, [text, element.innerHTML]);
    return true;
  };

  let shown = null; // the entry whose words stand on the page
  let ours = false; // whether the page is as the pocket drew it
  const draw = (entry = shown) => {
    const state = believed();
    if (!pocket || !state) return false;
    shown = entry;
    ours = true;
    const live = now() >= pocket.doc.opens && now() < pocket.doc.ends;
    const moment = live ? now() : pocket.doc.moment ?? state.at;
    const day = page();
    const place = pocket.places.get(state.here);
    const stop = pocket.doc.order.find((each) => each.number === state.stop);
    const said = saidOf(entry);
    const stands = stop && place && stop.name !== place.name ? say("You are here for {stop}", { stop: stop.name }) : say("You are here");
    const light = place && level(state, place.number, moment);
    write(day.querySelector("header"), place
      ? `<div class="pair"><h1 tabindex="-1">${html(place.name)}</h1><div class="ev">${light === null ? say("no reading") : ev(light)}</div></div>
<div class="pair"><div class="here" id="said">${html(said || stands)}</div><div class="age">${nudgedWords(state)}</div></div>`
      : `<h1 tabindex="-1">${html(pocket.doc.name)}</h1><div class="here" id="said">${html(said || (pocket.doc.order.length ? say("{venue}: tap the stop where you start", { venue: pocket.doc.venue }) : say("{venue}: tap the place where you start", { venue: pocket.doc.venue })))}</div>`);
    const rig = day.querySelector(".rig");
    rig.querySelector(".rig-picture").outerHTML = glassPicture(state.rig);
    rig.querySelector("p").innerHTML = `${html(pocket.settings(state.rig))}<small>${html(pocket.onTheLens(state.rig))}</small>`;
    const look = place && pocket.doc.looks[stop?.look ?? place.look];
    moveScale(rig.querySelector(".scale"), state.rig, look);
    const past = [".rig .caution", ".passed", ".bar .offer", "main > .error", "main > .other", ".hour"];
    if (outbox.away) past.push(".rig .lenses"); // what a lens does to the glass is the server's to say
    for (const old of day.querySelectorAll(past)) old.remove();
    if (place) {
      for (const words of pocket.cautions(state.rig, place.number, { here: true })) {
        rig.insertAdjacentHTML("beforeend", `<p class="caution">${html(capital(words))}.</p>`);
      }
    }
    const list = day.querySelector(".rows");
    const standing = place && row(state, place, stop?.look ?? place.look, moment, say("Here, as the light is now"), state.stop);
    const wanted = standing && !standing.nothing ? standing.html : "";
    let hereNow = day.querySelector(".here-now");
    if (wanted && !hereNow) {
      hereNow = document.createElement("div");
      hereNow.className = "here-now";
      list.before(hereNow);
    } else if (!wanted) hereNow?.remove();
    const changes = [wanted && write(hereNow, wanted), write(list, rows(state, moment, live))];
    if (changes.some(Boolean)) drawn = performance.now(); // taps.js
    const bar = day.querySelector(".bar");
    if (bar) {
      bar.querySelector('.nudges [name="place"]').value = state.here ?? 0;
      for (const each of bar.querySelectorAll(".nudges button")) each.disabled = !place || light === null;
      bar.querySelector('[name="event"]').value = state.last;
      bar.querySelector("#undo").disabled = !state.last;
      if (place) bar.lastElementChild.outerHTML = `<a class="button" href="${dayPath}/places/${place.number}/reading">${sayAs("to take a reading", "Meter")}<small>${say("again")}</small></a>`;
    }
    const clip = day.querySelector("#clip");
    if (clip) nameClip(clip, state.clip);
    document.title = `${place ? place.name : pocket.doc.name} \u00b7 Lychgate`;
    return true;
  };
  const nameClip = (clip, last) => {
    const counted = last.match(/\d+$/);
    const next = !last ? say("Clip 1") : counted ? last.slice(0, counted.index) + String(Number(counted[0]) + 1).padStart(counted[0].length, "0") : `${last} 2`;
    clip.value = next;
    clip.textContent = say("Note {clip}", { clip: next });
    const field = document.getElementById("clip-name");
    if (field && field !== document.activeElement) field.value = field.defaultValue = next;
  };

  globalThis.believed = believed;
  // Draws what a tap leads to, before the server has said so.
  globalThis.drawFromPocket = (entry) => {
    const had = page().contains(document.activeElement);
    if (!draw(entry)) return;
    if (had && !page().contains(document.activeElement)) page().querySelector("h1").focus();
    tappedOnce.clear();
    if (entry.url.endsWith("/clips")) document.querySelector(".clip form")?.reset();
    const heard = document.getElementById("heard");
    const said = saidOf(entry);
    entry.said = true;
    if (heard && said) heard.textContent = said + (heard.textContent === said ? "\u00a0" : "");
    if (entry.url.endsWith("/moves")) window.scrollTo(0, 0);
  };

  // --- what is said of it ---

  const notice = document.getElementById("away");
  let moved = ""; // what another phone did with this camera
  const REFUSED = {
    moves: (values) => say("The walk of {time} was not taken: {why}", values),
    nudges: (values) => say("The nudge of {time} was not taken: {why}", values),
    undo: (values) => say("The undo of {time} was not taken: {why}", values),
    readings: (values) => say("The reading of {time} was not taken: {why}", values),
    photo: (values) => say("The photo of {time} was not taken: {why}", values),
    rig: (values) => say("The rig of {time} was not taken: {why}", values),
    clips: (values) => say("The clip of {time} was not taken: {why}", values),
    other: (values) => say("What was done at {time} was not taken: {why}", values),
  };
  const announce = () => {
    const waiting = outbox.waiting();
    const lines = [];
    if (outbox.out) lines.push(waiting.length ? sayMany('{count} tap kept, not sent: this phone was signed out. <a href="/join">Come in again</a>, and they go.', '{count} taps kept, not sent: this phone was signed out. <a href="/join">Come in again</a>, and they go.', waiting.length) : "");
    else if (outbox.away) {
      const time = clock(base.made);
      const what = pocket ? say("No answer from the server. From the phone, as of {time}.", { time }) : say("No answer from the server. These answers may be old: they are of {time}.", { time });
      lines.push(`${what}${waiting.length ? ` ${sayMany("{count} tap kept, sent when it answers.", "{count} taps kept, sent when it answers.", waiting.length)}` : ""}`);
    } else if (waiting.length > 1 || waiting.some(({ tries }) => tries > 1)) lines.push(sayMany("{count} tap on the way.", "{count} taps on the way.", waiting.length));
    if (outbox.full && waiting.length) lines.push(say("This phone can keep no more. What was tapped is lost if this page is closed before it is sent."));
    if (moved) lines.push(`${html(moved)} <button type="button" id="moved-seen">${say("I have seen it")}</button>`);
    for (const entry of outbox.refused()) {
      const values = { time: clock(entry.made), why: html(entry.refused) };
      lines.push(`${(REFUSED[outbox.kindOf(entry)] ?? REFUSED.other)(values)} <button type="button" data-let-go="${html(entry.id)}">${say("Let it go")}</button>`);
    }
    const text = lines.filter(Boolean).map((line) => `<span>${line}</span>`).join("");
    if (notice.innerHTML !== text) notice.innerHTML = text;
  };
  notice.addEventListener("click", (event) => {
    if (event.target.id === "moved-seen") moved = "";
    const { letGo } = event.target.dataset;
    if (letGo) outbox.letGo(letGo);
    announce();
  });
  document.addEventListener("outbox:changed", () => { if (base) announce(); });
  document.addEventListener("outbox:out", () => { if (base) announce(); });
  document.addEventListener("outbox:away", () => {
    if (!base) return;
    if (outbox.waiting(dayPath).length) draw(); // else the server's own words stand as long as they are of this minute
    announce();
  });

  // --- what the server draws, and the pocket ---

  document.addEventListener("outbox:sent", (event) => {
    const { entry, status } = event.detail;
    if (!base || entry.day !== dayPath || status >= 400 || base.last === entry.id) return;
    come({ ...after(base, [entry]), made: base.made });
    keep();
  }, true); // before its answer is drawn

  // What was sent last may have brought no page: the server draws what stands now.
  document.addEventListener("outbox:rest", () => setTimeout(() => {
    if (ours && !outbox.away && !outbox.out) fetchAgain();
  }, RESTED));

  const sameRig = (one, other) => (pocket ? pocket.key(one) === pocket.key(other) : JSON.stringify(one) === JSON.stringify(other));
  let expected = null;
  document.addEventListener("htmx:before:swap", () => { expected = believed(); });
  document.addEventListener("htmx:after:swap", () => {
    if (!page()) return;
    outbox.away = false;
    delete document.documentElement.dataset.kept;
    shown = null;
    ours = false;
    learn();
    if (outbox.waiting(dayPath).length) draw();
    if (expected && !expected.lost && base && (expected.here !== base.here || !sameRig(expected.rig, base.rig))) {
      const place = pocket?.places.get(base.here)?.name;
      const settings = pocket ? `, ${pocket.settings(base.rig)}, ${pocket.onTheLens(base.rig)}` : "";
      moved = `${place ? say("Another phone moved this camera: it is at {place} now", { place }) : say("Another phone moved this camera")}${settings}. ${say("If yours is set otherwise, put it right under \u201cMy rig\u201d.")}`;
    }
    expected = null;
    announce();
    askForPocket();
  });

  // Not between two taps: the server works half a second at it.
  let asking = 0;
  const askForPocket = () => {
    clearTimeout(asking);
    asking = setTimeout(fetchPocket, pocket ? RESTS : 0);
  };
  const fetchPocket = async () => {
    await bringPocket();
    if (!outbox.away) keepPages();
  };
  const bringPocket = async () => {
    const { pocket: url, mark } = page().dataset;
    const serves = pocket && pocket.doc.mark === mark && pocket.doc.tables[pocket.numbers.get(pocket.key(base.rig))];
    if (serves || outbox.away || performance.now() - askedAt < AGAIN && pocket?.doc.mark === mark) return;
    askedAt = performance.now();
    try {
      const response = await fetch(url, { signal: AbortSignal.timeout(30000) });
      if (!response.ok) return;
      take(await response.json());
      await cupboard.put(`pocket ${dayPath}`, { who: document.body.dataset.who, doc: pocket.doc });
    } catch { /* the one that is there serves on */ }
  };
  const keepPages = () => {
    const places = [...(pocket?.places.keys() ?? [])];
    fetchAhead([
      dayPath, "/", "/phone", ...["rig", "sheet", "plan", "order", "light", "report"].map((page) => `${dayPath}/${page}`),
      ...places.map((place) => `${dayPath}/places/${place}/reading`), ...places.map((place) => `${dayPath}/places/${place}/light`),
    ]);
  };
  const take = (doc) => {
    if (doc.format !== FORMAT) return;
    pocket = new Pocket(doc);
    notice.dataset.pocket = doc.mark;
  };

  const begin = async () => {
    const mine = (kept) => kept && kept.who === document.body.dataset.who;
    const [state, its] = await Promise.all([cupboard.get(`state ${dayPath}`), cupboard.get(`pocket ${dayPath}`), outbox.ready]);
    if (mine(state)) ({ base, states, skew } = state);
    if (mine(its)) take(its.doc);
    learn();
    const isCopy = "kept" in document.documentElement.dataset;
    if (isCopy) outbox.away = true;
    if (outbox.away || outbox.waiting(dayPath).length) draw();
    announce();
    if (isCopy) fetchAgain(); // the copy came because the server was slow, perhaps
    else askForPocket();
  };
  begin();
  setInterval(() => { if (outbox.away && document.visibilityState === "visible") draw(); }, MINUTE);
}
