import { createContext, useContext, useEffect, useMemo, useState, type ReactNode } from 'react';

/** How the maker likes to read things; kept on this device only. */
export interface Preferences {
  lengths: 'cm' | 'in';
  terms: 'us' | 'uk';
  shade: 'system' | 'light' | 'dark';
  /** What the printer takes. */
  paper: 'a4' | 'letter';
}

/** Where Letter is the usual paper: Unicode CLDR 46, supplemental data, `paperSize` US-Letter. */
const LETTER_REGIONS = 'BZ CA CL CO CR GT MX NI PA PH PR SV US VE'.split(' ');

const KEY = 'swatch-gauge.preferences';

/**
 * What a language tag such as `en-GB` tells about how its makers write things.
 *
 * @example
 * guessFor('en-CA'); // { lengths: 'cm', terms: 'us', shade: 'system', paper: 'letter' }
 */
export function guessFor(language: string): Preferences {
  const region = new Intl.Locale(language).region;
  return {
    lengths: region === 'US' ? 'in' : 'cm',
    terms: region === 'GB' || region === 'AU' || region === 'NZ' || region === 'IE' ? 'uk' : 'us',
    shade: 'system',
    paper: region !== undefined && LETTER_REGIONS.includes(region) ? 'letter' : 'a4',
  };
}

/** Reads what was kept, field by field, so that an old or foreign value never breaks the page. */
export function readPreferences(kept: string | null, guess: Preferences): Preferences {
  let value: Record<string, unknown> = {};
  try {
    const parsed: unknown = JSON.parse(kept ?? '{}');
    if (parsed && typeof parsed === 'object') value = parsed as Record<string, unknown>;
  } catch {
    // Unreadable: the guess stands.
  }
  return {
    lengths: value.lengths === 'cm' || value.lengths === 'in' ? value.lengths : guess.lengths,
    terms: value.terms === 'us' || value.terms === 'uk' ? value.terms : guess.terms,
    shade:
      value.shade === 'light' || value.shade === 'dark' || value.shade === 'system'
        ? value.shade
        : guess.shade,
    paper: value.paper === 'a4' || value.paper === 'letter' ? value.paper : guess.paper,
  };
}

interface Held {
  preferences: Preferences;
  change: (part: Partial<Preferences>) => void;
}

const Context = createContext<Held | null>(null);

export function PreferencesProvider({ children }: { children: ReactNode }) {
  const [preferences, setPreferences] = useState(() =>
    readPreferences(localStorage.getItem(KEY), guessFor(navigator.language)),
  );
  useEffect(() => {
    localStorage.setItem(KEY, JSON.stringify(preferences));
    document.documentElement.dataset.shade = preferences.shade;
    document.documentElement.dataset.paper = preferences.paper;
  }, [preferences]);
  const held = useMemo<Held>(
    () => ({ preferences, change: (part) => setPreferences((before) => ({ ...before, ...part })) }),
    [preferences],
  );
  return <Context value={held}>{children}</Context>;
}

export function usePreferences(): Held {
  const held = useContext(Context);
  if (!held) throw new Error('usePreferences needs a PreferencesProvider above it');
  return held;
}
