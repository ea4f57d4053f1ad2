// The picture of the newest frame with its place marked. There are two figures: the one behind is filled, then they
// change places, so that nothing blinks and nothing is made anew.

import { text } from "./words.js";

const LATE_MS = 900; // after which the picture of another frame is shown as an old one
const DIM = [0.75, 0.45]; // brightness of a black picture, and by how much less that of a white one is
const room = document.querySelector(".room"), figures = [...room.querySelectorAll("figure")];

let front = 0, wanted = "", late = 0;

export async function picture(frame) {
  const id = frame?.picture ? `${frame.picture} ${frame.mark}` : "";
  text(room.querySelector(".without"), frame && !id ? without(frame) : "");
  if (!id) {
    wanted = "";
    clearTimeout(late);
    setOld(Boolean(frame?.looking));
    if (!frame?.looking) for (const figure of figures) figure.hidden = true;
    return;
  }
  if (id === wanted) return;
  wanted = id;
  clearTimeout(late);
  late = setTimeout(() => setOld(true), LATE_MS);
  const came = await fill(figures[1 - front], frame);
  if (id !== wanted) return;
  clearTimeout(late);
  if (came) swap();
  else failed();
}

const without = (frame) => frame.looking ? "the picture follows" : `no picture${frame.without ? `: ${frame.without}` : ""}`;

async function fill(figure, frame) {
  const [grey, place] = figure.querySelectorAll("img");
  const [wide, high] = frame.size ?? [3, 2];
  figure.style.setProperty("--wide", wide);
  figure.style.setProperty("--high", high);
  grey.alt = frame.name;
  grey.src = frame.picture;
  place.hidden = !frame.mark;
  if (frame.mark) place.src = frame.mark;
  const come = await Promise.allSettled([grey.decode(), frame.mark ? place.decode() : null]);
  if (come[0].status !== "fulfilled") return false;
  figure.style.setProperty("--dim", (DIM[0] - DIM[1] * light(grey)).toFixed(3));
  return true;
}

// a white backdrop must not light the set, a dark one must still be seen; of two frames the lighter stays it

const canvas = Object.assign(document.createElement("canvas"), { width: 16, height: 16 });
const pen = canvas.getContext("2d", { willReadFrequently: true });

function light(image) { // 0 to 1, the mean of its codes
  pen.drawImage(image, 0, 0, 16, 16);
  const { data } = pen.getImageData(0, 0, 16, 16);
  return data.filter((_, at) => at % 4 === 0).reduce((sum, code) => sum + code, 0) / (255 * 256);
}

function swap() {
  front = 1 - front;
  figures[front].hidden = false;
  figures[1 - front].hidden = true;
  setOld(false);
}

const setOld = (old) => room.classList.toggle("old", old);

function failed() { // asked for again with the next state
  wanted = "";
  for (const figure of figures) figure.hidden = true;
  text(room.querySelector(".without"), "no picture: it did not come");
}
