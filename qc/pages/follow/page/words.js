// Words on the page: put where they belong, and as many of them as there is room for.

const SHORTEST_PART = 0.3; // of what would fit: a shorter clause says too little
const MOST = 400; // signs that are tried: more never fit

export function text(element, wanted) { // what stands there already is left alone: it is asked for all day
  if (element.textContent !== wanted) element.textContent = wanted;
}

export function level(element, wanted) {
  if (element.dataset.level !== wanted) element.dataset.level = wanted;
}

export function list(element, lines) {
  element.hidden = !lines.length;
  while (element.children.length > lines.length) element.lastChild.remove();
  while (element.children.length < lines.length) element.append(document.createElement("li"));
  lines.forEach((line, at) => text(element.children[at], line));
}

export function age(seconds) {
  const whole = Math.max(Math.floor(seconds), 0), minutes = Math.floor(whole / 60);
  if (whole < 60) return `${whole} s`;
  return minutes < 60 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")} min`;
}

// as much of a text as its element has lines for: up to the end of a clause, else of a word, never half a figure; what
// must stand before and after it is never cut

export function fit(element, whole, { before = "", after = "" } = {}) {
  const about = `${before}\n${whole}\n${after}\n${element.clientWidth}\n${getComputedStyle(element).fontSize}`;
  if (element.dataset.fitted === about) return;
  const fits = (tried) => {
    element.textContent = before + tried + after;
    return element.scrollHeight <= element.clientHeight + 1;
  };
  if (!fits(whole)) {
    const most = longest(parts(whole.slice(0, MOST), /\s+|(?<=\S{12})(?=\S)/gu), fits);
    const clauses = parts(whole, /; |, | \(|: /g).reverse();
    const enough = clauses.filter((part) => part.length >= most.length * SHORTEST_PART && part.length <= most.length);
    if (!enough.some((part) => fits(`${part} …`))) fits(short(most));
  }
  element.dataset.fitted = about;
}

const parts = (whole, ends) => [...whole.matchAll(ends)].map((end) => whole.slice(0, end.index));

const short = (part) => `${part.replace(/[\s\d.,:;±%−+(-]+$/u, "")} …`;

function longest(tried, fits) { // they grow: the last one that fits, by halving
  let low = 0, high = tried.length - 1;
  while (low < high) {
    const middle = Math.ceil((low + high) / 2);
    if (fits(short(tried[middle]))) low = middle;
    else high = middle - 1;
  }
  return tried[low] ?? "";
}
