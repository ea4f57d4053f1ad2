// The page of a watch: one state comes from the server again and again, and is shown. What is only this page's own
// (a question that is open, how deep one has looked, brightness, tone) is in `own`. Names are only ever text.
"use strict";

(() => {
  const $ = (selector, within = document) => within.querySelector(selector);
  const $$ = (selector, within = document) => [...within.querySelectorAll(selector)];
  const page = document.documentElement.dataset.page, main = $("main");
  const AGAIN_MS = 1000, SILENT_MS = 12_000, PATIENT_MS = 3000, QUIET_WATCH_MS = 20_000, LATE_MS = 900;
  const SHORTEST_PART = 0.3; // of what would fit: a shorter clause says too little
  const own = { asked: null, at: 0, depth: 0, shown: null, keys: false, told: "", tone: null };
  let state = null;

  // small things

  const now = () => performance.now();
  const hour = () => new Date().toTimeString().slice(0, 5);
  const may = () => Boolean(state?.may_act) && !lost;

  function text(element, wanted) { // what stands there already is left alone: nothing is made anew 10,000 times a day
    if (element.textContent !== wanted) element.textContent = wanted;
  }

  function level(element, wanted) {
    if (element.dataset.level !== wanted) element.dataset.level = wanted;
  }

  function age(seconds) {
    const whole = Math.max(Math.floor(seconds), 0), minutes = Math.floor(whole / 60);
    if (whole < 60) return `${whole} s`;
    return minutes < 60 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")} min`;
  }

  // as much of a text as its element has lines for: up to the end of a clause, else of a word, never half a figure

  function fit(element, whole) {
    const about = `${whole}\n${element.clientWidth}\n${getComputedStyle(element).fontSize}`;
    if (element.dataset.fitted === about) return;
    const fits = (tried) => {
      element.textContent = tried;
      return element.scrollHeight <= element.clientHeight + 1;
    };
    if (!fits(whole)) {
      const most = longest([...whole.slice(0, 400).matchAll(/\s+|(?<=\S{12})(?=\S)/gu)].map((m) => whole.slice(0, m.index)), fits);
      const clauses = [...whole.matchAll(/; |, | \(|: /g)].map((m) => whole.slice(0, m.index)).reverse();
      const enough = clauses.filter((part) => part.length >= most.length * SHORTEST_PART && part.length <= most.length);
      if (!enough.some((part) => fits(`${part} …`))) fits(short(most));
    }
    element.dataset.fitted = about;
  }

  const short = (part) => `${part.replace(/[\s\d.,:;±%−+(-]+$/u, "")} …`;

  function longest(parts, fits) { // parts grow: the last one that fits, by halving
    let low = 0, high = parts.length - 1;
    while (low < high) {
      const middle = Math.ceil((low + high) / 2);
      if (fits(short(parts[middle]))) low = middle;
      else high = middle - 1;
    }
    return parts[low] ?? "";
  }

  // the connection

  let source = null, openedAt = 0, heardAt = now(), heardHour = hour(), retried = false, lost = false;
  let beatAt = now(), stateAt = now();

  function connect() {
    source?.close();
    openedAt = now();
    source = new EventSource("/now");
    source.onmessage = (message) => heard(JSON.parse(message.data));
    source.onerror = () => {
      source.close();
      lose();
    };
  }

  function lose() {
    if (lost) return;
    lost = true;
    render();
  }

  function heard(next) {
    if (next.page !== page && sessionStorage.getItem("loaded for") !== next.page) {
      sessionStorage.setItem("loaded for", next.page); // once: a page that can not be had must not be asked for for ever
      location.reload();
      return;
    }
    if (own.tone !== null && isHalt(next.frame) && !(isHalt(state?.frame) && state.frame.key === next.frame.key)) sound();
    if (state?.heart.clock !== next.heart.clock || lost) beatAt = now();
    heardAt = stateAt = now();
    heardHour = hour();
    retried = lost = false;
    state = next;
    render();
  }

  const isHalt = (frame) => frame?.level === "halt";

  function tick() {
    const silent = now() - heardAt > SILENT_MS && now() - openedAt > PATIENT_MS;
    if (silent && retried) lose();
    if (source.readyState === EventSource.CLOSED || silent) {
      retried = true;
      connect();
    }
    beat();
    notices();
  }

  // what is shown: the head

  function render() {
    const trouble = folderLost(), frame = state?.frame ?? null;
    main.classList.toggle("stale", lost || state?.watch === "ended");
    main.classList.toggle("stopped", Boolean(trouble));
    if (!may()) own.asked = null;
    if (trouble) headOfTrouble(trouble, frame);
    else if (frame) headOfFrame(frame);
    else head({ level: "none", word: state ? "no frame yet" : "" });
    strip();
    beat();
    notices();
    middle();
    picture(frame);
    details();
  }

  const folderLost = () => state?.heart.troubles.find((trouble) => trouble.text.startsWith("folder lost"));

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
    const bare = name ? name.number || name.stem : "", whole = name?.name ?? "";
    const numbered = Boolean(name?.number);
    level($("header"), height);
    $("header").classList.remove("looking");
    text($("h1 .stem"), numbered ? name.stem : whole);
    text($("h1 .number"), numbered ? bare : "");
    text($("h1 .rest"), numbered && whole.startsWith(name.stem + bare) ? whole.slice(name.stem.length + bare.length) : "");
    text($(".verdict"), word);
    fit($("header .reason"), reason);
    text($(".tail"), tail);
    const said = [whole, [word, reason].filter(Boolean).join(", ")].filter(Boolean).join(": ");
    text($("body > .unseen"), lost ? "not connected to the watch" : said);
    const title = lost ? "not connected" : [bare, word].filter(Boolean).join(" ");
    document.title = [title, state?.folder].filter(Boolean).join(" · ");
  }

  // what is shown: what is wrong with the watch itself

  function notices() {
    const told = [];
    if (state?.watch === "ended") told.push(["note", `the watch ended at ${state.heart.clock}`]);
    else if (lost) told.push(["warn", `not connected to the watch since ${heardHour}: trying again`]);
    else if (state && now() - beatAt > QUIET_WATCH_MS) told.push(["warn", `the watch says nothing since ${state.heart.clock}`]);
    const headline = folderLost();
    for (const trouble of state?.heart.troubles ?? []) if (trouble !== headline) told.push([trouble.level, trouble.text]);
    $$(".notice").forEach((line, at) => {
      line.hidden = at >= told.length;
      if (line.hidden) return;
      const [height, words] = told[at];
      if (line.className !== `notice ${height}`) line.className = `notice ${height}`;
      if ($(".mark", line).className !== `mark ${height}`) $(".mark", line).className = `mark ${height}`;
      fit($(".text", line), words);
    });
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
    if (last !== null) whole.push(age_s === null ? `last ${last}` : `last ${last} ${age(age_s + (now() - stateAt) / 1000)} ago`);
    else whole.push("no frame yet");
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
    text($(".answer"), own.told || (did && may() ? `${did.time} ${did.text}` : ""));
    for (const part of $$(".acts")) part.hidden = !may();
    const waiting = state?.alarms?.length ?? 0;
    text($(".waiting"), waiting ? `answer ${waiting === 1 ? "one alarm" : `${waiting} alarms`}` : "no alarm waits");
    text($(".deeper"), ["more", "maps and readings", "back"][own.depth]);
    text($(".brightness"), main.classList.contains("bright") ? "dim again" : "brighter");
    text($(".tone"), own.tone === null ? "tone: off" : "tone on a halt: on");
  }

  function knownOf(frame) {
    const against = frame.causes.length ? frame.causes : [frame.reason || "nothing against it"];
    return [...against, `${frame.name}, taken ${frame.time}`, frame.settings].filter(Boolean);
  }

  function list(element, lines) {
    element.hidden = !lines.length;
    while (element.children.length > lines.length) element.lastChild.remove();
    while (element.children.length < lines.length) element.append(document.createElement("li"));
    lines.forEach((line, at) => text(element.children[at], line));
  }

  // what is shown: the picture; of two figures the one behind is filled, then they change places

  let front = 0, wanted = "", late = 0;

  async function picture(frame) {
    const id = frame?.picture ? `${frame.picture} ${frame.mark}` : "";
    text($(".without"), frame && !id ? without(frame) : "");
    if (!id) {
      wanted = "";
      setOld(Boolean(frame?.looking));
      if (!frame?.looking) for (const figure of $$("figure")) figure.hidden = true;
      return;
    }
    if (id === wanted) return;
    wanted = id;
    clearTimeout(late);
    late = setTimeout(() => setOld(true), LATE_MS);
    const came = await fill($$("figure")[1 - front], frame);
    if (id !== wanted) return;
    clearTimeout(late);
    if (came) swap();
    else failed();
  }

  const without = (frame) => frame.looking ? "the picture follows" : `no picture${frame.without ? `: ${frame.without}` : ""}`;

  async function fill(figure, frame) {
    const [grey, place] = $$("img", figure);
    const [wide, high] = frame.size ?? [3, 2];
    figure.style.setProperty("--wide", wide);
    figure.style.setProperty("--high", high);
    grey.alt = frame.name;
    grey.src = frame.picture;
    place.hidden = !frame.mark;
    if (frame.mark) place.src = frame.mark;
    const come = await Promise.allSettled([grey.decode(), frame.mark ? place.decode() : null]);
    return come[0].status === "fulfilled";
  }

  function swap() {
    const figures = $$("figure");
    front = 1 - front;
    figures[front].hidden = false;
    figures[1 - front].hidden = true;
    setOld(false);
  }

  const setOld = (old) => $(".room").classList.toggle("old", old);

  function failed() { // asked for again with the next state
    wanted = "";
    for (const figure of $$("figure")) figure.hidden = true;
    text($(".without"), "no picture: it did not come");
  }

  // all that is known of one frame

  let inserted = null;

  async function details() {
    const open = own.depth === 2, article = $(".details");
    article.hidden = !open;
    main.classList.toggle("deep", open);
    if (!open) {
      if (inserted !== null) article.replaceChildren();
      inserted = null;
      return;
    }
    const key = own.shown;
    if (key === inserted) return;
    inserted = key;
    const parts = await fragment(key);
    if (key !== inserted) return;
    article.replaceChildren(...parts);
    article.scrollTop = 0;
  }

  async function fragment(key) {
    try {
      const answer = await fetch(`/details/${key}`);
      const whole = await answer.text();
      if (!answer.ok) return [`nothing more is known of this frame here: ${whole.trim()}`];
      const parsed = new DOMParser().parseFromString(whole, "text/html");
      return [...parsed.body.childNodes];
    } catch {
      return ["not connected to the watch: open it again later"];
    }
  }

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

  function ask() {
    if (!may()) return;
    own.keys = false;
    own.told = "";
    if (own.asked !== null && own.at + 1 < own.asked.length) own.at += 1;
    else if (state.alarms.length) [own.asked, own.at] = [state.alarms, 0];
    else [own.asked, own.told] = [null, "no alarm waits for an answer"];
    middle();
  }

  function asked() { // its words may have become more exact, never another alarm
    const mine = own.asked[own.at], about = JSON.stringify(mine.about);
    return state.alarms.find((alarm) => JSON.stringify(alarm.about) === about) ?? mine;
  }

  function question() {
    const { question: words, answers } = asked(), rest = own.asked.length - own.at - 1;
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
    text($(".question .older"), rest ? `the alarm before it (${rest} more)` : "the newest again");
  }

  function answer(key) {
    if (own.asked === null || !may()) return;
    const alarm = asked(), chosen = alarm.answers.find((one) => one.key === key && one.can);
    if (chosen) act(chosen.act, alarm.about);
  }

  async function act(what, about) {
    if (!may()) return;
    own.asked = null;
    own.told = "…";
    middle();
    own.told = await posted({ act: what, about });
    middle();
  }

  async function posted(body) {
    try {
      const sent = { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) };
      const got = await fetch("/act", sent);
      const told = await got.text();
      return got.ok || got.status === 409 ? JSON.parse(told).said : `not done: ${told.trim()}`;
    } catch {
      return "not done: not connected to the watch";
    }
  }

  function back() {
    if (own.asked !== null) own.asked = null;
    else if (own.keys) own.keys = false;
    else own.depth = 0;
    own.told = "";
    render();
  }

  // tone: nothing that could sound is made before somebody asks for it

  function tone() {
    if (own.tone === null) own.tone = new AudioContext();
    else [own.tone] = [null, own.tone.close()];
    if (own.tone !== null) sound();
    middle();
  }

  function sound() {
    const at = own.tone.currentTime, voice = own.tone.createOscillator(), loud = own.tone.createGain();
    voice.frequency.value = 392;
    loud.gain.setValueAtTime(0, at);
    loud.gain.linearRampToValueAtTime(0.12, at + 0.05);
    loud.gain.exponentialRampToValueAtTime(0.001, at + 0.5);
    voice.connect(loud).connect(own.tone.destination);
    voice.start(at);
    voice.stop(at + 0.5);
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

  const presses = {
    Enter: ask, u: () => act("undo", []), d: deeper, b: brighter, s: tone, "?": keyList, Escape: back,
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

  connect();
  setInterval(tick, AGAIN_MS);
})();
