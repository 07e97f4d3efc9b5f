/** Below this confidence a find is shown as a possibility and never measured with. */
export const TRUSTED = 0.5;
