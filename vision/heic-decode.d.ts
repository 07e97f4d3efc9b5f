/** The part of heic-decode that `decodePhoto` uses; the package ships no types. */
declare module 'heic-decode' {
  interface HeicPicture {
    width: number;
    height: number;
    decode(): Promise<{ width: number; height: number; data: Uint8ClampedArray }>;
  }
  function heicDecode(input: {
    buffer: Uint8Array;
  }): Promise<{ width: number; height: number; data: Uint8ClampedArray }>;
  namespace heicDecode {
    /** Reads sizes without decoding; `dispose` frees the decoder. */
    function all(input: { buffer: Uint8Array }): Promise<HeicPicture[] & { dispose(): void }>;
  }
  export default heicDecode;
}
