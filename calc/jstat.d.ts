/** The part of jstat that `calc` uses; the package ships no types. */
declare module 'jstat' {
  interface Distribution {
    cdf(x: number, ...parameters: number[]): number;
    inv(probability: number, ...parameters: number[]): number;
    pdf(x: number, ...parameters: number[]): number;
  }
  export const jStat: {
    normal: Distribution;
    studentt: Distribution;
    chisquare: Distribution;
    centralF: Distribution;
  };
  const whole: { jStat: typeof jStat };
  export default whole;
}
