/** How a name is compared, so that “Ada” and “ada” are one maker. */
export const normalName = (name: string): string => name.normalize('NFKC').toLowerCase();
