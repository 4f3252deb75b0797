// The names of points in Spanish: they come when somebody reads Spanish.
import text from "../../../../../rules/standard/es-points.txt";
import { pairs } from "./pairs";

export const points = pairs(text);
