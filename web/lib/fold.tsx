import { useState, type ReactNode } from 'react';

/** Something folded away that costs nothing until it is opened for the first time. */
export function Fold({ summary, children }: { summary: string; children: () => ReactNode }) {
  const [opened, setOpened] = useState(false);
  return (
    <details className="fold" onToggle={(event) => event.currentTarget.open && setOpened(true)}>
      <summary>{summary}</summary>
      {opened && children()}
    </details>
  );
}
