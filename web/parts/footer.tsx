import { OwnAccount } from '../account/own-account.tsx';
import { useSession } from '../account/session.tsx';
import { usePreferences } from '../lib/preferences.tsx';
import { Ribbon } from '../lib/ribbon.tsx';
import { text } from '../lib/text.ts';

/** What is seldom needed: light or dark, and the way in for programs. */
export function Footer() {
  const { preferences, change } = usePreferences();
  const isHosted = useSession().session?.mode === 'hosted';
  return (
    <footer className="shell-foot">
      <p>{text(isHosted ? 'foot.hosted' : 'foot.local')}</p>
      <OwnAccount />
      <a href="/api/v1/docs">{text('foot.api')}</a>
      <Ribbon
        label={text('prefs.shade')}
        value={preferences.shade}
        onChange={(shade) => change({ shade })}
        options={[
          { value: 'system', label: text('prefs.shadeSystem') },
          { value: 'light', label: text('prefs.shadeLight') },
          { value: 'dark', label: text('prefs.shadeDark') },
        ]}
      />
    </footer>
  );
}
