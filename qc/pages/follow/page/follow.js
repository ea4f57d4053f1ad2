// The page of a watch: one state comes from the server again and again, and is shown. What is only this page's own
// (a question that is open, how deep one has looked, what was answered) is in `own`. Names are only ever text.

import { details } from "./details.js";
import { Line, posted } from "./line.js";
import { folderLost, isHalt, notices, stillOpen } from "./notices.js";
import { picture } from "./picture.js";
import * as tone from "./tone.js";
import { age, fit, level, list, text } from "./words.js";

const $ = (selector, within = document) => within.querySelector(selector);
const $$ = (selector, within = document) => [...within.querySelectorAll(selector)];
const page = document.documentElement.dataset.page, main = $("main");
const own = { asked: null, at: 0, alarms: 0, depth: 0, shown: null, keys: false, told: "", until: 0 };
const TOLD_MS = 60_000; // how long the answer to a key stands at most
let state = null;

const may = () => Boolean(state?.may_act) && !line.isLost;

function heard(next) {
  if (next.page !== page && sessionStorage.getItem("loaded for") !== next.page) {
    sessionStorage.setItem("loaded for", next.page); // once: one that cannot be had must not be asked for for ever
    location.reload();
    return;
  }
  const isNew = state?.frame?.key !== next.frame?.key;
  if (tone.isOn() && isHalt(next.frame) && (isNew || !isHalt(state?.frame))) tone.sound();
  if (isNew) own.told = "";
  state = next;
  render();
}

// what is shown: the head

function render() {
  const trouble = folderLost(state), frame = state?.frame ?? null;
  main.classList.toggle("stale", line.isLost || state?.watch === "ended");
  main.classList.toggle("stopped", Boolean(trouble));
  if (!may()) own.asked = null;
  if (trouble) headOfTrouble(trouble, frame);
  else if (frame) headOfFrame(frame);
  else head({ level: "none", word: state ? "no frame yet" : "" });
  strip();
  beat();
  notices(state, line);
  stillOpen(state);
  middle();
  picture(frame);
  main.classList.toggle("deep", own.depth === 2);
  details(own.depth === 2 ? own.shown : null);
}

function headOfTrouble(trouble, frame) {
  const [word, ...rest] = trouble.text.split(": ");
  const before = frame ? `before that: ${frame.name}, ${frame.word}${frame.reason ? `, ${frame.reason}` : ""}` : "";
  head({ level: trouble.level, word, reason: rest.join(": "), tail: before });
}

function headOfFrame(frame) {
  const more = frame.more ? `and ${frame.more} more` : "";
  const looking = frame.looking && frame.level !== "unjudged" ? "first look, the rest is being measured" : "";
  const tail = [frame.again, more, looking].filter(Boolean).join(", ");
  head({ level: frame.level, word: frame.word, reason: frame.reason, tail, name: frame });
  $("header").classList.toggle("looking", frame.looking);
}

function head({ level: height, word, reason = "", tail = "", name = null }) {
  const whole = name?.name ?? "", numbered = Boolean(name?.number), bare = numbered ? name.number : name?.stem;
  level($("header"), height);
  $("header").classList.remove("looking");
  text($("h1 .stem"), numbered ? name.stem : whole);
  text($("h1 .number"), numbered ? name.number : "");
  const before = numbered ? name.stem + name.number : whole;
  text($("h1 .rest"), whole.startsWith(before) ? whole.slice(before.length) : "");
  text($(".verdict"), word);
  fit($("header .reason"), reason);
  text($(".tail"), tail);
  const said = [whole, [word, reason].filter(Boolean).join(", ")].filter(Boolean).join(": ");
  text($("body > .unseen"), line.isLost ? "not connected to the watch" : said);
  const title = line.isLost ? "not connected" : [bare, word].filter(Boolean).join(" ");
  document.title = [title, state?.folder].filter(Boolean).join(" · ");
}

// what is shown: strip and heartbeat

const onStrip = () => state?.strip ?? [];

function shownKey() {
  return own.depth === 2 ? own.shown : state?.frame?.key;
}

function strip() {
  const steps = $$(".strip button"), frames = onStrip(), empty = steps.length - frames.length;
  steps.forEach((step, at) => {
    const frame = frames[at - empty];
    step.disabled = !frame;
    level(step, frame?.level ?? "");
    step.setAttribute("aria-label", frame ? `${frame.name}: ${frame.level}` : "none");
    step.setAttribute("aria-current", String(Boolean(frame) && frame.key === shownKey()));
  });
}

function beat() {
  if (!state) return;
  const { clock, last, age_s, pieces, needs } = state.heart;
  const whole = [state.folder, clock];
  const since = age_s === null ? "" : ` ${age(age_s + line.age)} ago`;
  whole.push(last === null ? "no frame yet" : `last ${last}${since}`);
  text($(".beat"), [...whole, ...pieces].filter(Boolean).map((piece) => piece.replaceAll(" ", "\u00a0")).join(" · "));
  text($(".needs"), needs);
}

// what is shown: the middle, where one thing is read at a desk

function middle() {
  const asking = own.asked !== null;
  $(".question").hidden = !asking;
  if (asking) question();
  $(".keys").hidden = asking || !own.keys;
  const frame = state?.frame, known = frame && own.depth > 0 ? knownOf(frame) : [];
  list($(".known"), asking || own.keys ? [] : known);
  list($(".hint"), asking || own.keys ? [] : state?.hint ?? []);
  const did = state?.said.at(-1);
  text($(".answer"), own.told || (did && !line.isLost ? `${did.time} ${did.text}` : ""));
  for (const part of $$(".acts")) part.hidden = !may();
  const waiting = state?.alarms?.length ?? 0;
  const none = state?.newest ? "about the newest frame" : "no alarm waits";
  text($(".waiting"), waiting ? `answer ${waiting === 1 ? "one alarm" : `${waiting} alarms`}` : none);
  text($(".deeper"), ["more", "maps and readings", "back"][own.depth]);
  text($(".brightness"), main.classList.contains("bright") ? "dim again" : "brighter");
  text($(".tone"), tone.isOn() ? "tone on a halt: on" : "tone: off");
}

function knownOf(frame) {
  const against = frame.causes.length ? frame.causes : [frame.reason || "nothing against it"];
  const taken = frame.time ? `, taken ${frame.time}` : "";
  return [...against, `${frame.name}${taken}`, frame.settings].filter(Boolean);
}

// all that is known of one frame

function deeper() {
  own.depth = (own.depth + 1) % 3;
  if (own.depth === 2) own.shown = state?.frame?.key ?? null;
  if (own.depth === 2 && own.shown === null) own.depth = 0;
  render();
  if (own.depth === 2) $(".details").focus();
}

function look(key) {
  own.depth = 2;
  own.shown = key;
  render();
}

function step(by) {
  if (own.depth !== 2) return;
  const keys = onStrip().map((frame) => frame.key), at = keys.indexOf(own.shown);
  const next = keys[at < 0 ? 0 : at + by]; // one that has left the strip is older than all on it
  if (next !== undefined) look(next);
}

// acting: what is asked stays what it is until it is answered, whatever arrives meanwhile

const questions = () => [...state.alarms, ...state.newest ? [state.newest] : []];

function ask() {
  if (!may()) return refuse();
  own.keys = false;
  own.told = "";
  if (own.asked !== null && own.at + 1 < own.asked.length) own.at += 1;
  else open();
  middle();
  $(".question").scrollIntoView({ block: "nearest" });
}

function open() {
  const all = questions();
  if (!all.length) tell(state.frame ? "no alarm waits for an answer" : "no frame yet");
  Object.assign(own, { asked: all.length ? all : null, at: 0, alarms: state.alarms.length });
}

function refuse() {
  if (!state || line.isLost) return; // that is said already
  tell("only the machine that runs the watch answers");
  middle();
}

function tell(words) {
  [own.told, own.until] = [words, performance.now() + TOLD_MS];
}

function asked() { // its words may have become more exact, never another alarm
  const mine = own.asked[own.at], about = JSON.stringify(mine.about);
  return questions().find((one) => JSON.stringify(one.about) === about) ?? mine;
}

function older() {
  const rest = own.alarms - own.at - 1;
  if (rest > 0) return `the alarm before it (${rest} more)`;
  return own.at + 1 < own.asked.length ? "the newest frame" : "the newest again";
}

function question() {
  const { question: words, answers } = asked();
  text($(".question h2"), words);
  $$(".question li button").slice(0, 5).forEach((button, at) => {
    const answer = answers[at];
    button.parentElement.hidden = !answer;
    if (!answer) return;
    button.disabled = !answer.can;
    button.dataset.key = answer.key;
    text($("kbd", button), answer.key);
    text($("span", button), answer.said);
  });
  text($(".question .older"), older());
}

function answer(key) {
  if (own.asked === null || !may()) return;
  const alarm = asked(), chosen = alarm.answers.find((one) => one.key === key && one.can);
  if (chosen) act(chosen.act, alarm.about);
}

async function act(what, about) {
  if (!may()) return refuse();
  own.asked = null;
  tell("…");
  middle();
  tell(await posted({ act: what, about }));
  middle();
}

function back() {
  if (own.asked !== null) own.asked = null;
  else if (own.keys) own.keys = false;
  else own.depth = 0;
  own.told = "";
  render();
}

// keys, and the same for a mouse

function keyList() {
  own.keys = !own.keys;
  own.asked = null;
  middle();
}

function brighter() {
  main.classList.toggle("bright");
  middle();
}

function sounds() {
  tone.toggle();
  middle();
}

const presses = {
  Enter: ask, u: () => act("undo", []), d: deeper, b: brighter, s: sounds, "?": keyList, Escape: back,
  0: () => own.asked !== null && back(), ArrowLeft: () => step(-1), ArrowRight: () => step(1),
};

function press(key) {
  if (/^[1-9]$/.test(key)) answer(key);
  else presses[key]?.();
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.key === "Enter" && (event.repeat || event.target.closest("button, a, summary"))) return;
  if (Object.hasOwn(presses, event.key) || /^[1-9]$/.test(event.key)) press(event.key);
});
document.addEventListener("mousedown", (event) => { // a button that was clicked must not take the next Enter
  if (event.target.closest("main button")) event.preventDefault();
});
document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-key]");
  if (button) press(button.dataset.key);
});
$$(".strip button").forEach((button, at, all) => button.addEventListener("click", () => {
  const frame = onStrip()[at - (all.length - onStrip().length)];
  if (frame) look(frame.key);
}));
new ResizeObserver(() => render()).observe(main);

function tick() {
  beat();
  notices(state, line);
  if (own.told && performance.now() > own.until) own.told = "";
  middle();
}

const line = new Line({ heard, lost: render, tick });
