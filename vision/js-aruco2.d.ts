/** The part of js-aruco2 that the printable sheet uses; the package ships no types. */
declare module 'js-aruco2' {
  interface FiducialDictionary {
    /** Bit strings by id, row by row, '1' = white. */
    codeList: string[];
    /** Least number of bits in which two codes differ. */
    tau: number;
    nBits: number;
    find(bits: number[][]): { id: number; distance: number } | undefined;
  }
  const aruco: {
    AR: { Dictionary: new (name: 'ARUCO_MIP_36h12' | 'ARUCO') => FiducialDictionary };
  };
  export default aruco;
}
