import { useEffect } from 'react';
import { Entrance } from './account/entrance.tsx';
import { Footer } from './parts/footer.tsx';
import { PreferencesBar } from './parts/preferences-bar.tsx';
import { hrefOf, useRoute, type Route } from './lib/route.ts';
import { text } from './lib/text.ts';
import { PairScreen } from './parts/pair-screen.tsx';
import { StartScreen } from './parts/start-screen.tsx';
import { PhotoHelpScreen } from './help/photo-help-screen.tsx';
import { PieceScreen } from './pieces/piece-screen.tsx';
import { PiecesScreen } from './pieces/pieces-screen.tsx';

/** The frame around every screen: name, screens, how to write things, and the screen itself. */
export function App() {
  const route = useRoute();
  useEffect(() => {
    scrollTo(0, 0);
  }, [route.screen]);

  return (
    <>
      <a className="skip" href="#work" onClick={(event) => skipToWork(event)}>
        {text('app.skip')}
      </a>
      <header className="shell-top">
        <div className="shell-top-inner">
          <a className="shell-name" href="#/">
            <img src="/mark.svg" alt="" width={28} height={28} />
            {text('app.name')}
          </a>
          <nav aria-label={text('nav.label')} className="shell-nav">
            <NavLink to={{ screen: 'start' }} at={route} label={text('nav.start')} />
            <NavLink to={{ screen: 'pieces' }} at={route} label={text('nav.pieces')} />
            <NavLink to={{ screen: 'photo-help' }} at={route} label={text('nav.photoHelp')} />
          </nav>
          <PreferencesBar />
        </div>
      </header>
      <main id="work" tabIndex={-1}>
        <Entrance>
          <Screen route={route} />
        </Entrance>
      </main>
      <Footer />
    </>
  );
}

function Screen({ route }: { route: Route }) {
  switch (route.screen) {
    case 'pieces':
      return <PiecesScreen />;
    case 'piece':
      return <PieceScreen pieceId={route.pieceId} part={route.part} />;
    case 'photo-help':
      return <PhotoHelpScreen />;
    case 'pair':
      return <PairScreen code={route.code} />;
    default:
      return <StartScreen />;
  }
}

/** The fragment is the route, so the skip link moves the focus by hand. */
function skipToWork(event: { preventDefault: () => void }) {
  event.preventDefault();
  document.getElementById('work')?.focus();
}

function NavLink({ to, at, label }: { to: Route; at: Route; label: string }) {
  const here = to.screen === at.screen || (to.screen === 'pieces' && at.screen === 'piece');
  return (
    <a href={hrefOf(to)} aria-current={here ? 'page' : undefined}>
      {label}
    </a>
  );
}
