// What Lazy fetches in one piece.
export { CautionsPage, LinksPage } from "./board";
export { LogbookPage, WhoWasHere } from "./record";
export { Worked } from "./worked";
export { Closings } from "./closing";
export { Session } from "./leave";
export { LotPage } from "./lot";
export { MorePage } from "./more";
export { PointPage } from "./point";
export { ProbesPage } from "./probes";
export { RatesPage } from "./rates";
export { RegisterPage } from "./register";
export { RosterPage } from "./roster";
export { RulesPage } from "./rules";
export { SeasonPage } from "./season";
