import { makePlanPdf, type PlanPdfOptions } from './plan-pdf.ts';
import { wordPicturesByCanvas } from './word-pictures.ts';

/** The plan as a PDF file of today, with whatever letters this browser can show. */
export const makePlanPdfInBrowser = (
  options: Omit<PlanPdfOptions, 'madeAt' | 'pictures'>,
): Promise<Uint8Array> => makePlanPdf({ ...options, madeAt: new Date(), pictures: wordPicturesByCanvas() });
