/** Below this confidence a find is shown as a possibility and never measured with. */
export const TRUSTED = 0.5;

/** A find this good ends the search, and settles what others are. */
export const CERTAIN = 0.8;

/** Confidence of what is measured with and said to be doubtful. */
export const DOUBTFUL_AT_MOST = 0.6;
