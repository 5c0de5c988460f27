/** What the engine says when it refuses: its error as text comes apart into the place and the sentence. */

export interface EngineProblem {
  /** The path in what was asked, `$.resistors[1].resistor_ohm`; null where the engine names none. */
  where: string | null;
  sentence: string;
  example: string | null;
}

const SHEET_ERROR = /^(\$[^:]*): (.*) \(given .*; expected (.*); example: (.*)\)$/s;
const DECODER_ERROR = /^(.*) - at `([^`]*)`$/s;

/** The words of a failure without Python's class, with the place apart. */
export function engineProblem(why: string): EngineProblem {
  const plain = why.replace(/^[\w.]*(Error|Exception): /, "");
  const sheet = SHEET_ERROR.exec(plain);
  if (sheet !== null) {
    const [, where = null, message = "", expected = "", example = null] = sheet;
    return { where, sentence: `${message}. Expected: ${expected}.`.replace("?.", "?"), example };
  }
  const decoder = DECODER_ERROR.exec(plain);
  if (decoder !== null) return { where: decoder[2] ?? null, sentence: `${decoder[1]}.`, example: null };
  return { where: null, sentence: /[.!?]$/.test(plain) ? plain : `${plain}.`, example: null };
}
