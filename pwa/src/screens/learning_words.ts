/** How shares and counts of closed jobs are written. */

/** A share in a hundred: "0.4", "4", "25"; small ones keep a digit. */
export function in100(share: number): string {
  const value = share * 100;
  return value < 9.95 ? String(Number(value.toFixed(1))) : value.toFixed(0);
}

/** Jobs shared by several things that were wrong: "2", "0.5". */
export function jobsWords(jobs: number): string {
  return String(Number(jobs.toFixed(1)));
}
