import { usePreferences } from '../lib/preferences.tsx';
import { Ribbon } from '../lib/ribbon.tsx';
import { text } from '../lib/text.ts';

/** cm or in, US or UK names, light or dark: within reach on every screen. */
export function PreferencesBar() {
  const { preferences, change } = usePreferences();
  return (
    <div className="preferences" role="group" aria-label={text('prefs.label')}>
      <Ribbon
        label={text('prefs.lengths')}
        value={preferences.lengths}
        onChange={(lengths) => change({ lengths })}
        options={[
          { value: 'cm', label: text('prefs.cm') },
          { value: 'in', label: text('prefs.in') },
        ]}
      />
      <Ribbon
        label={text('prefs.terms')}
        value={preferences.terms}
        onChange={(terms) => change({ terms })}
        options={[
          { value: 'us', label: text('prefs.us') },
          { value: 'uk', label: text('prefs.uk') },
        ]}
      />
    </div>
  );
}
