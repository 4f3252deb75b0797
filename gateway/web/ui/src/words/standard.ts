// The built-in alarms in Spanish: it comes when somebody reads Spanish.
import text from "../../../../../rules/standard/es.txt";
import { pairs } from "./pairs";

export const standard = pairs(text);
