/** What stands around a page that says nothing of the board: for who is not signed in. */
import type { ComponentChildren } from 'preact';

interface BareProps {
  readonly title: string;
  readonly icon: string;
  readonly styleHref: string;
  readonly children: ComponentChildren;
}

export function Bare({ title, icon, styleHref, children }: BareProps) {
  return (
    <html lang="en">
      <head>
        <meta charset="utf-8" />
        <meta name="viewport" content="width=device-width, initial-scale=1" />
        <meta name="color-scheme" content="light dark" />
        <title>{title}</title>
        <link rel="icon" type="image/svg+xml" href={icon} />
        <link rel="stylesheet" href={styleHref} />
      </head>
      <body>
        <main id="main">{children}</main>
      </body>
    </html>
  );
}
