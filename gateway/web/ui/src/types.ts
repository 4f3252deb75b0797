// The form in which the gateway sends what stands: see wire.go and openapi.json. Times are milliseconds of its monotonic clock; 0 or
// missing is never. Lengths of time are milliseconds.

export type Priority = "high" | "medium" | "low";
export type Quality = "good" | "uncertain" | "bad";

export interface Band { low: number; high: number }

export interface Limit {
  value: number; text: string; above: boolean; alarm: string; title: string; priority: Priority; critical?: boolean;
}

export interface Point {
  name: string; station: string; title: string; quantity: string; unit: string;
  computed?: boolean; byHand?: boolean; leading?: boolean; corrected?: { offset: number; slope: number; zero: number }; range?: Band; normal?: Band; limits?: Limit[];
}

export interface Value { text: string; number: number | null; quality: Quality; cause?: string; at?: number; known?: number }

export interface Station {
  name: string; title: string; kind: string; area: string; loaded: boolean; lot?: string; since?: number; kg?: number;
}

export interface Shown { point: string; title: string; text: string; unit: string; limit?: string }
export interface Call { person: string; channel: string; at: number; fault?: string }

export interface Alarm {
  id: string; title: string; place: string; placeTitle: string; station: string; area: string;
  priority: Priority; class: string; state: string; active: boolean; held: boolean; cannotSee: boolean;
  occurrence: number; since?: number; cause: string; consequence: string; action: string; caution: string;
  respondWithin: number; latching: boolean; shelvable: number; because: string; values: Shown[]; count: number;
  acknowledgedBy: string; acknowledgedAt?: number; hiddenBy: string; hiddenWhy: string; shelfEnds?: number;
  calls: Call[]; next: Call[];
}

export interface Prompt {
  id: string; title: string; placeTitle: string; station: string; say: string;
  due?: number; early?: number; late?: number; detail: string; since?: number;
}

export interface Person { name: string; title: string; rights: string }

/** Minutes that the site's clock is ahead of UTC between two moments of the wall clock; a bound that is missing is none. */
export interface Offset { from?: number; to?: number; minutes: number }

export interface Plan {
  site: { name: string; title: string; zone: string; board: string; language: string; rules: string; offsets?: Offset[] };
  areas: { name: string; title: string }[];
  points: Point[]; people: Person[]; language: string; demo?: string; speed: number; version: string; warnings: number;
}

export interface Roster { watches: string[]; onWatch: string[]; until?: number; drill?: number; drillBy?: string }

export interface Link {
  kind: string; name: string; title: string; set: boolean; works: boolean; cause?: string; since?: number; waiting: number; step?: number;
}

export interface Frame {
  seq: number; now: number; wall: number; set: boolean; stopping?: boolean;
  plan: Plan; stations: Station[]; values: Record<string, Value>;
  alarms: Alarm[]; prompts: Prompt[]; roster: Roster; links: Link[];
}

export interface Curve {
  point: string; unit: string; from: number; to: number; step: number; time: number[]; low: number[]; high: number[]; last: number[]; uncertain: boolean[];
  bad: { from: number; to: number; cause: string }[];
}
