// The line to the watch, and what is asked of it. The line is opened, and opened anew each second when it breaks or
// falls silent. The state that comes then takes the place of the old one, so that nothing has to be caught up with.

const AGAIN_MS = 1000, SILENT_MS = 12_000, PATIENT_MS = 3000, QUIET_WATCH_MS = 20_000;

const now = () => performance.now();
const hour = () => new Date().toTimeString().slice(0, 5);

export class Line {
  // `heard` is called with each state, `lost` when the line is, `tick` each second.
  constructor({ heard, lost, tick }) {
    Object.assign(this, { tell: heard, lose: lost, isLost: false, retried: false, clock: null });
    this.heardAt = this.beatAt = now();
    this.hour = hour(); // when something was heard last
    this.open();
    setInterval(() => {
      this.check();
      tick();
    }, AGAIN_MS);
  }

  get age() { // seconds since the last state
    return (now() - this.heardAt) / 1000;
  }

  get isQuiet() { // the server answers, but the watch behind it has had nothing to tell for long, not even its heartbeat
    return now() - this.beatAt > QUIET_WATCH_MS;
  }

  open() {
    this.source?.close();
    this.openedAt = now();
    this.source = new EventSource("/now");
    this.source.onmessage = (message) => this.heard(JSON.parse(message.data));
    this.source.onerror = () => {
      this.source.close();
      this.broke();
    };
  }

  heard(state) {
    if (state.heart.clock !== this.clock || this.isLost) this.beatAt = now();
    this.clock = state.heart.clock;
    this.heardAt = now();
    this.hour = hour();
    this.retried = this.isLost = false;
    this.tell(state);
  }

  broke() {
    if (this.isLost) return;
    this.isLost = true;
    this.lose();
  }

  check() {
    const silent = now() - this.heardAt > SILENT_MS && now() - this.openedAt > PATIENT_MS;
    if (silent && this.retried) this.broke(); // a line that was opened anew is silent as well
    if (this.source.readyState !== EventSource.CLOSED && !silent) return;
    this.retried = true;
    this.open();
  }
}

export async function posted(body) {
  try {
    const sent = { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) };
    const got = await fetch("/act", sent);
    const told = await got.text();
    return got.ok || got.status === 409 ? JSON.parse(told).said : `not done: ${told.trim()}`;
  } catch {
    return "not done: not connected to the watch";
  }
}
