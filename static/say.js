// What the scripts say, in the language of the page: English as it stands in them, else from words-LANGUAGE.js, which the
// server makes of the one catalogue (server/language). Values go in by their names, which stand in braces.
"use strict";
{
  const known = globalThis.WORDS ?? {};
  const rules = new Intl.PluralRules(document.documentElement.lang || "en");
  const comma = new Intl.NumberFormat(document.documentElement.lang || "en").format(0.5).charAt(1);
  const filled = (text, values) => text.replace(/\{(\w+)\}/g, (all, name) => (name in values ? values[name] : all));
  globalThis.say = (message, values = {}) => filled(known[message]?.[0] ?? message, values);
  const twelve = "twelve" in document.documentElement.dataset;
  const locale = twelve ? "en-US" : "en-GB"; // only figures are asked of it, and they stand alike in every language
  globalThis.clockOf = (at, timeZone) => new Intl.DateTimeFormat(locale, { hour: twelve ? "numeric" : "2-digit", minute: "2-digit", hour12: twelve, timeZone })
    .format(at).replace("\u202f", " ").toLowerCase();
  globalThis.decimal = (figures) => figures.replace(".", comma);
  // A phrase that began a sentence, inside one: its first letter is small, where nouns are not written large.
  globalThis.goesOn = (text) => (document.documentElement.lang === "de" ? text : text.slice(0, 1).toLowerCase() + text.slice(1));
  globalThis.sayAs = (meaning, message) => known[`${meaning}\u0004${message}`]?.[0] ?? message;
  globalThis.sayMany = (one, many, count, values = {}) => {
    const form = rules.select(count) === "one" ? 0 : 1;
    return filled(known[one]?.[form] ?? [one, many][form], { count, ...values });
  };
}
