import { StrictMode } from 'react';
import { createRoot } from 'react-dom/client';
import { SessionProvider } from './account/session.tsx';
import { App } from './app.tsx';
import { PreferencesProvider } from './lib/preferences.tsx';
import './styles/tokens.css';
import './styles/base.css';
import './styles/shell.css';
import './styles/swatch.css';
import './styles/plan.css';
import './styles/screens.css';
import './styles/check.css';
import './styles/account.css';
import './styles/print.css';

const root = document.getElementById('root');
if (root)
  createRoot(root).render(
    <StrictMode>
      <PreferencesProvider>
        <SessionProvider>
          <App />
        </SessionProvider>
      </PreferencesProvider>
    </StrictMode>,
  );

// Only where the browser allows it (this computer, or https); the page does without it elsewhere.
if ('serviceWorker' in navigator && import.meta.env.PROD)
  void navigator.serviceWorker.register('/offline.js').catch(() => undefined);
