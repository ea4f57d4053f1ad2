// What must be read from two metres besides the newest frame: what is wrong with the watch itself, and what nobody
// answered.

import { fit } from "./words.js";

const shown = [...document.querySelectorAll(".notices .notice")], place = document.querySelector(".open");

export const folderLost = (state) => state?.heart.troubles.find((trouble) => trouble.what === "folder");

export const isHalt = (frame) => frame?.level === "halt";

export function notices(state, line) {
  const told = [], clock = state?.heart.clock, headline = folderLost(state);
  if (state?.watch === "ended") told.push(["note", `the watch ended at ${clock}`]);
  else if (line.isLost) told.push(["warn", `not connected to the watch since ${line.hour}: trying again`]);
  else if (state && line.isQuiet) told.push(["warn", `the watch says nothing since ${clock}`]);
  for (const trouble of state?.heart.troubles ?? []) if (trouble !== headline) told.push([trouble.level, trouble.text]);
  shown.forEach((notice, at) => {
    notice.hidden = at >= told.length;
    if (!notice.hidden) fit(marked(notice, "notice", told[at][0]), told[at][1]);
  });
}

function marked(notice, kind, level) { // returns where its words belong
  notice.className = `${kind} ${level}`;
  notice.querySelector(".mark").className = `mark ${level}`;
  return notice.querySelector(".text");
}

export function stillOpen(state) { // an alarm must not go with its frame
  const newest = headless(state), [first] = [...newest, ...state?.open ?? []];
  place.hidden = !first;
  if (!first) return;
  const more = newest.length + state.open_frames - 1;
  const before = `still open: ${first.name} ${first.level}${first.reason ? ", " : ""}`;
  fit(marked(place, "open notice", first.level), first.reason, { before, after: more ? `, and ${more} more` : "" });
}

function headless(state) { // the newest frame itself, where something else has taken its place at the head
  const frame = state?.frame;
  if (!folderLost(state) || !isHalt(frame)) return [];
  return [{ level: frame.level, name: frame.stem + frame.number, reason: frame.reason }];
}
