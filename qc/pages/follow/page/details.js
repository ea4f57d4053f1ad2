// All that is known of one frame: a fragment of our own server's, of which nothing can run.

const article = document.querySelector(".details");
let inserted = null;

export async function details(key) { // of none: they are closed
  const open = key !== null;
  article.hidden = !open;
  if (!open) {
    if (inserted !== null) article.replaceChildren();
    inserted = null;
    return;
  }
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
