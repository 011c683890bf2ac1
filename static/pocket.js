// What the pocket's document answers: which rig for the light at a place, and how it differs from the one on the
// camera, in the server's own words (server/exposure/wording.py). The rigs were worked out by the server; here a row is
// picked and stops are added. Held to the server's words on thousands of pairs in tests/browser/test_pocket_words.py.
"use strict";
{
  const MINUS = "\u2212";
  const THIRDS = ["", "\u2153", "\u2154"];

  // Half to even, as the server rounds.
  const rounded = (value) => {
    const low = Math.floor(value);
    const half = value - low - 0.5;
    return half < 0 || (half === 0 && low % 2 === 0) ? low : low + 1;
  };
  const capital = (text) => text.slice(0, 1).toUpperCase() + text.slice(1);
  const and = (names) => (names.length < 2 ? names.join("") : say("{some} and {last}", { some: names.slice(0, -1).join(", "), last: names.at(-1) }));
  const without = (some, others) => some.filter((each) => !others.includes(each));
  const thirds = (stops) => rounded(Math.abs(stops) * 3);
  const stopsOf = (stops) => {
    const all = thirds(stops);
    const whole = Math.floor(all / 3);
    const count = `${whole || all % 3 === 0 ? whole : ""}${THIRDS[all % 3]}`;
    return sayMany("{count} stop", "{count} stops", all > 0 && all <= 3 ? 1 : 2, { count });
  };
  const sizeOf = (stops) => (thirds(stops) ? stopsOf(stops) : say("a touch"));
  const error = (stops) => (stops > 0 ? say("{size} too bright", { size: sizeOf(stops) }) : say("{size} too dark", { size: sizeOf(stops) }));
  const fNumber = (aperture) => `f/${Number(aperture.toFixed(2))}`;
  const ev = (level) => {
    const tenths = rounded(level * 10) / 10 + 0;
    return `EV ${decimal(tenths.toFixed(1).replace("-", MINUS))}`;
  };
  const nearest = (list, value, at) => list.reduce(
    (best, each, number) => (Math.abs(each[at] - value) < Math.abs(list[best][at] - value) ? number : best), 0,
  );

  class Pocket {
    constructor(doc) {
      this.doc = doc;
      this.filters = new Map(doc.filters.map((piece) => [piece.id, piece]));
      this.places = new Map(doc.places.map((place) => [place.number, { ...place, levels: this.#summed(place.course) }]));
      this.numbers = new Map(); // of the rigs that are named, by their keys
      for (let number = 0; number < doc.rigs.length / 4; number += 1) this.numbers.set(this.key(this.rig(number)), number);
    }

    #summed(course) {
      let level = 0;
      return course.map((change) => (level += change) / 100);
    }

    // The rig of a number, as the server writes one.
    rig(number) {
      const { glass, irises, isos, shutters, rigs } = this.doc;
      const [its, iris, iso, shutter] = rigs.slice(4 * number, 4 * number + 4);
      const [holder_on, slots, threads, front, turned, built_in] = glass[its];
      return {
        holder_on, slots, threads, built_in,
        aperture: irises[iris][0], shutter: shutters[shutter][0], iso: isos[iso][0], front, turned,
      };
    }

    glassKey(rig) {
      return JSON.stringify([
        rig.holder_on, [...rig.slots].sort(), [...rig.threads].sort(), rig.front ?? null, rig.turned ?? null, rig.built_in,
      ]);
    }

    key(rig) {
      return `${this.glassKey(rig)} ${this.#iris(rig)} ${this.#iso(rig)} ${this.#shutter(rig)}`;
    }

    #iris(rig) { return nearest(this.doc.irises, rig.aperture, 0); }
    #iso(rig) { return nearest(this.doc.isos, rig.iso, 0); }
    #shutter(rig) { return nearest(this.doc.shutters, rig.shutter, 0); }

    onLens(rig) {
      return rig.holder_on ? [...rig.slots, ...(rig.front == null ? [] : [rig.front]), ...rig.threads] : rig.threads;
    }

    // What stands between the subject and the sensor [stops].
    glassStops(rig) {
      const plain = this.onLens(rig).map((id) => this.filters.get(id)).filter((piece) => piece && piece.kind !== "variable_nd");
      return plain.reduce((sum, piece) => sum + piece.stops, 0) + (rig.turned ?? 0) + rig.built_in + this.doc.loss;
    }

    // The light [EV] that a rig exposes rightly.
    exposes(rig) {
      const { irises, isos, shutters, clicks } = this.doc;
      const settings = irises[this.#iris(rig)][1] / clicks + shutters[this.#shutter(rig)][1] - isos[this.#iso(rig)][1] / 3;
      return settings + this.glassStops(rig);
    }

    // The forecast [EV] for a place at a moment [ms]; between two of the times that are known, on the line between.
    forecast(number, at) {
      const { levels } = this.places.get(number);
      if (!levels.length) return null;
      const [first, step] = this.doc.times;
      const place = Math.min(Math.max((at - first) / step, 0), levels.length - 1);
      const before = Math.floor(place);
      const after = Math.min(before + 1, levels.length - 1);
      return levels[before] + (levels[after] - levels[before]) * (place - before);
    }

    // The rig of the table to go by: this one, else one with the same glass, else the one whose glass is most alike.
    table(rig) {
      const own = this.numbers.get(this.key(rig));
      if (own !== undefined && this.doc.tables[own]) return this.doc.tables[own];
      const on = this.onLens(rig);
      const glass = this.glassKey(rig);
      let best = null;
      let least = Infinity;
      for (const number of Object.keys(this.doc.tables)) {
        const other = this.rig(Number(number));
        const others = this.onLens(other);
        const differs = this.glassKey(other) === glass ? 0
          : 1 + without(on, others).length + without(others, on).length + (other.holder_on !== rig.holder_on);
        const far = 100 * differs + Math.abs(this.#iris(other) - this.#iris(rig)) + Math.abs(this.#iso(other) - this.#iso(rig)) / 10;
        if (far < least) [best, least] = [this.doc.tables[number], far];
      }
      return best;
    }

    // The answers to a level [EV] for the look of this number: {clean, fast, saves}. fast is null where it saves [s] too
    // little. A level outside what was worked out takes the answer at its end, and the words say what is wrong then.
    answers(rig, look, level) {
      const { span } = this.doc.looks[look];
      if (span === null) return null;
      const tenths = rounded(level * 10);
      const [clean, fast] = this.table(rig)[span].map((runs) => {
        let at = 0;
        while (at + 2 < runs.length && runs[at + 2] <= tenths) at += 2;
        return runs[at + 1] < 0 ? null : this.rig(runs[at + 1]);
      });
      const saves = fast && rounded((this.seconds(rig, clean) - this.seconds(rig, fast)) * 1e6) / 1e6;
      return { clean, fast: saves < this.doc.worth ? null : fast, saves };
    }

    // How two rigs differ, as the hand does it: [what, seconds, filter or figure].
    actions(now, then) {
      const { hands, clicks, builtIn, irises } = this.doc;
      const done = [];
      const add = (what, seconds, of = null) => done.push([what, seconds, of]);
      const each = (what, some) => some.forEach((id) => add(what, hands[what], id));
      if (now.holder_on && !then.holder_on) add("holder_off", hands.holder_off);
      each("unscrew", without(now.threads, then.threads));
      if (now.front != null && now.front !== then.front) add("front_off", hands.front_off, now.front);
      each("pull", without(now.slots, then.slots));
      each("drop_in", without(then.slots, now.slots));
      if (then.front != null && now.front !== then.front) add("front_on", hands.front_on, then.front);
      if (then.holder_on && !now.holder_on) add("holder_on", hands.holder_on);
      each("screw_on", without(then.threads, now.threads));
      if (then.turned != null) {
        const variable = this.onLens(then).find((id) => this.filters.get(id)?.kind === "variable_nd");
        const stayed = now.turned != null && this.onLens(now).includes(variable);
        const turns = stayed ? Math.abs(then.turned - now.turned) : 0;
        if (!stayed || turns > 1e-9) add("turn", hands.turn * turns, then.turned);
      }
      const steps = Math.abs(builtIn.indexOf(then.built_in) - builtIn.indexOf(now.built_in));
      if (steps) add("built_in", hands.built_in * steps, then.built_in);
      const turn = irises[this.#iris(then)][1] - irises[this.#iris(now)][1];
      if (turn) add(turn > 0 ? "close" : "open", (hands.iris * Math.abs(turn)) / clicks, Math.abs(turn));
      if (this.#iso(then) !== this.#iso(now)) add("iso", hands.iso);
      if (this.#shutter(then) !== this.#shutter(now)) add("shutter", hands.shutter);
      return done;
    }

    seconds(now, then) {
      return this.actions(now, then).reduce((sum, [, seconds]) => sum + seconds, 0);
    }

    #label(id) { return this.filters.get(id)?.label ?? id; }

    #glassWords(done) {
      const of = (what) => done.filter(([did]) => did === what).map(([, , id]) => this.#label(id));
      const did = (what) => done.some(([its]) => its === what);
      const out = of("pull");
      const inn = of("drop_in");
      return [
        ...(did("holder_off") ? [say("holder off")] : []),
        ...(of("unscrew").length ? [say("unscrew {glass}", { glass: and(of("unscrew")) })] : []),
        ...of("front_off").map((glass) => say("{glass} out of the front ring", { glass })),
        ...(out.length && inn.length ? [say("swap {out} for {into}", { out: and(out), into: and(inn) })]
          : out.length ? [say("pull {glass}", { glass: and(out) })]
            : inn.length ? [say("drop in {glass}", { glass: and(inn) })] : []),
        ...of("front_on").map((glass) => say("{glass} into the front ring", { glass })),
        ...(did("holder_on") ? [say("holder on")] : []),
        ...(of("screw_on").length ? [say("screw on {glass}", { glass: and(of("screw_on")) })] : []),
        ...done.filter(([its]) => its === "turn").map(([, , stops]) => say("turn variable ND to {stops}", { stops: stopsOf(stops) })),
        ...done.filter(([its]) => its === "built_in")
          .map(([, , stops]) => (stops ? say("built-in to {stops}", { stops: stopsOf(stops) }) : say("built-in clear"))),
      ];
    }

    turnSize(count) {
      if (!this.doc.stepless) return String(count);
      return sayMany("{count} stop", "{count} stops", count <= this.doc.clicks ? 1 : 2, { count: decimal(String(count / this.doc.clicks)) });
    }

    // An answer in words. over [stops]: what is left wrong, above 0 too bright; allowed [stops]: what is not minded.
    told(now, then, over, allowed) {
      const { isos, shutters, seen, density } = this.doc;
      const done = this.actions(now, then);
      const did = (what) => done.find(([its]) => its === what);
      const turned = did("open") ?? did("close");
      const missed = Math.abs(over) > allowed + 1e-9;
      const more = Math.max(density[0], rounded((over / density[1]) * 10) / 10).toFixed(2).replace(/0$/, "");
      const glass = capital(this.#glassWords(done).join(", "));
      const cure = over > 0 ? say("{density} more ND would mend it", { density: more }) : say("it needs {size} more light", { size: sizeOf(over) });
      return {
        glass,
        nothing: !(glass || did("iso") || did("shutter") || turned),
        way: turned ? turned[0] : "stay",
        clicks: turned ? turned[2] : 0,
        turn: !turned ? say("stay") : turned[0] === "open" ? say("open {size}", { size: this.turnSize(turned[2]) }) : say("close {size}", { size: this.turnSize(turned[2]) }),
        to: fNumber(then.aperture),
        iso: isos[this.#iso(then)][2],
        newIso: Boolean(did("iso")),
        shutter: shutters[this.#shutter(then)][2],
        newShutter: Boolean(did("shutter")),
        wrong: missed || Math.abs(over) >= seen ? error(over) : "",
        cure: missed ? cure : "",
        seconds: `${rounded(done.reduce((sum, [, seconds]) => sum + seconds, 0))} s`,
      };
    }

    settings(rig) {
      const { isos, shutters } = this.doc;
      return [fNumber(rig.aperture), shutters[this.#shutter(rig)][2], isos[this.#iso(rig)][2]].join(" \u00b7 ");
    }

    // The glass of a rig in one line.
    onTheLens(rig) {
      const held = [...rig.slots, ...(rig.front == null ? [] : [rig.front])].map((id) => this.#label(id));
      const said = [];
      if (rig.holder_on) said.push(held.length ? say("holder on with {glass}", { glass: and(held) }) : say("empty holder on"));
      else if (held.length) said.push(say("holder off, {glass} in it", { glass: and(held) }));
      if (rig.threads.length) said.push(say("{glass} screwed on", { glass: and(rig.threads.map((id) => this.#label(id))) }));
      if (rig.turned != null) said.push(say("turned to {stops}", { stops: stopsOf(rig.turned) }));
      if (rig.built_in) said.push(say("built-in {stops}", { stops: stopsOf(rig.built_in) }));
      return said.join(", ") || say("no glass");
    }

    // What to look out for with a rig at a place that is gone to, or where the shooter stands.
    cautions(rig, number, { here }) {
      const place = this.places.get(number);
      const glass = this.glassKey(rig);
      const known = this.doc.glass.find(([holder_on, slots, threads, front, turned, built_in]) => (
        this.glassKey({ holder_on, slots, threads, front, turned, built_in }) === glass
      ));
      return [
        ...(place.wide && known ? known[6] : []),
        ...(place.underLamps ? this.doc.shutters[this.#shutter(rig)][3] : []),
        ...(here ? place.here : place.ahead),
      ];
    }
  }

  globalThis.Pocket = Pocket;
  globalThis.pocketWords = { ev, capital, rounded };
}
