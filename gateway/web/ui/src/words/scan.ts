// What a look at the buses says, in Spanish. The gateway says it in English, as it does on the board's own command line; its sentences are few and put
// together of these pieces. A test holds them to the sentences of drivers/scan.
const pieces: [string, string][] = [
  ["perhaps a port expander", "quizá un expansor de puertos"],
  ["outputs may hang on it", "puede haber salidas conectadas"],
  ["perhaps a memory or its write protection", "quizá una memoria o su protección de escritura"],
  ["a byte there can be a command that lasts", "un byte ahí puede ser una orden que queda"],
  ["perhaps a display or a port expander", "quizá una pantalla o un expansor de puertos"],
  ["perhaps an AHT20, a display or a port expander", "quizá un AHT20, una pantalla o un expansor de puertos"],
  ["perhaps an air sensor", "quizá un sensor de aire"],
  ["perhaps a converter or a thermometer", "quizá un convertidor o un termómetro"],
  ["perhaps a thermometer", "quizá un termómetro"],
  ["perhaps a memory", "quizá una memoria"],
  ["a byte there can be the begin of a write", "un byte ahí puede ser el comienzo de una escritura"],
  ["perhaps an SCD4x", "quizá un SCD4x"],
  ["its commands have two bytes, which another part would take for a write", "sus órdenes son de dos bytes, que otro componente tomaría por una escritura"],
  ["perhaps an MCP9600", "quizá un MCP9600"],
  ["converters that give a voltage stand there too, and a byte is a command to them", "ahí hay también convertidores que dan una tensión, y un byte es una orden para ellos"],
  ["perhaps a clock", "quizá un reloj"],
  ["to set a clock by mistake is worse than not to know it", "ajustar un reloj por error es peor que no conocerlo"],
  ["perhaps a multiplexer", "quizá un multiplexor"],
  ["a byte would open its branches; what is behind it is not seen", "un byte abriría sus ramas; lo que hay detrás no se ve"],
  ["perhaps a BME280, or a multiplexer", "quizá un BME280, o un multiplexor"],
  ["something", "algo"],
  ["it answers its address", "responde a su dirección"],
  ["no part of this program stands there", "ahí no hay ningún componente de este programa"],
  ["the part of ", "el componente de "],
  ["it stands in the rules", "está en las reglas"],
  ["the gateway may be reading it", "el programa puede estar leyéndolo"],
  ["a part of the kernel's", "un componente del núcleo"],
  ["a driver of the kernel has it", "lo tiene un controlador del núcleo"],
  ["it is read by iio or hwmon, see there", "se lee por iio o hwmon, véase allí"],
  ["perhaps an SHT3x", "quizá un SHT3x"],
  ["it does not take the command of an SHT4x", "no acepta la orden de un SHT4x"],
  ["it has no serial number as an SHT4x has", "no tiene número de serie como un SHT4x"],
  ["an SHT4x", "un SHT4x"],
  ["serial number ", "número de serie "],
  [" with right checksums", " con sumas de control correctas"],
  ["its answer is not one of an SHT4x; an SHT3x would be asked by two bytes, which another part would take for a write",
    "su respuesta no es la de un SHT4x; a un SHT3x se le pregunta con dos bytes, que otro componente tomaría por una escritura"],
  ["it does not answer for its registers", "no responde por sus registros"],
  ["registers 1 to 3 are ", "los registros 1 a 3 son "],
  ["an ADS1115", "un ADS1115"],
  [", limits as an ADS1115 powers on", ", límites como los de un ADS1115 al encender"],
  ["a TMP102", "un TMP102"],
  [", a configuration that only a TMP102 has", ", una configuración que solo tiene un TMP102"],
  ["an LM75 or its kin", "un LM75 o pariente"],
  [", limits as an LM75 powers on", ", límites como los de un LM75 al encender"],
  [", which is none of the parts known there", ", que no es ninguno de los componentes conocidos ahí"],
  ["it gives nothing to read without being asked", "no da nada que leer sin que se le pregunte"],
  ["it gives one byte again and again, as a multiplexer does, whose branches a byte would open", "da un mismo byte una y otra vez, como un multiplexor, cuyas ramas abriría un byte"],
  ["it does not answer for its id", "no responde por su identificación"],
  ["a BME280", "un BME280"],
  ["id 60", "identificación 60"],
  ["id 58 is a BMP280, which has no humidity: the kernel's driver shows it by iio", "la identificación 58 es un BMP280, que no tiene humedad: el controlador del núcleo lo muestra por iio"],
  ["id ", "la identificación "],
  [" is none known", " no es conocida"],
  ["family ", "familia "],
  [" in its id", " en su identificación"],
  ["a DS18B20", "un DS18B20"],
  ["a ghost", "un fantasma"],
  ["no part has family 00: the bus is disturbed, look at its pull-up and its length", "ningún componente es de la familia 00: el bus está perturbado, revise su resistencia de polarización y su largo"],
  ["a part of family ", "un componente de la familia "],
  ["no driver of this program reads it", "ningún controlador de este programa lo lee"],
  ["the kernel's device ", "el dispositivo del núcleo "],
  ["the kernel says so", "lo dice el núcleo"],
  ["it has no input that is understood", "no tiene ninguna entrada que se entienda"],
  ["a select line", "una línea de selección"],
  ["the kernel shows it", "lo muestra el núcleo"],
  ["an SPI part does not say what it is, and to clock an unknown one can be a command", "un componente SPI no dice qué es, y dar pulsos a uno desconocido puede ser una orden"],
  ["a chip of input lines", "un chip de líneas de entrada"],
  ["nothing tells an open contact from a free line; a line in use by others is not asked for", "nada distingue un contacto abierto de una línea libre; una línea en uso por otros no se pide"],
  ["a serial line", "una línea serie"],
  ["on a Modbus line every question is a write, and another master may be speaking; a modem or a console may be there",
    "en una línea Modbus cada pregunta es una escritura, y puede estar hablando otro maestro; puede haber un módem o una consola"],
  ["not looked at: ", "sin mirar: "],
];

const bySize = [...pieces].sort((a, b) => b[0].length - a[0].length);

/** A sentence in Spanish; what is not known of it stays as it is. Longer pieces go first, each found piece is set aside until all are found. */
export function scanSpanish(text: string): string {
  const found: string[] = [];
  let left = text;
  for (const [english, spanish] of bySize) {
    if (left.includes(english)) {
      left = left.replace(english, `\u0000${found.length}\u0000`);
      found.push(spanish);
    }
  }
  return left.replace(/\u0000(\d+)\u0000/g, (_, i: string) => found[Number(i)]!);
}
