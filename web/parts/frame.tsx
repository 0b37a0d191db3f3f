/** What stands around every page. `main` is what the script exchanges; the rest stays. */
import type { ComponentChildren } from 'preact';
import type { FrameProps } from '../props.ts';
import { OwnerLine } from './owner-line.tsx';
import { Stationery } from './paper.tsx';

export function Frame({ frame, children }: { frame: FrameProps; children: ComponentChildren }) {
  return (
    <html lang="en">
      <head>
        <meta charset="utf-8" />
        <meta name="viewport" content="width=device-width, initial-scale=1" />
        <meta name="color-scheme" content="light dark" />
        <title>{frame.title}</title>
        <link rel="icon" type="image/svg+xml" href={frame.icon} />
        <link rel="stylesheet" href={frame.styleHref} />
        <link rel="alternate" type="application/atom+xml" title="Outages" href={frame.feed} />
        {frame.scriptHref && <script src={frame.scriptHref} defer />}
      </head>
      <body data-live={frame.live}>
        <Stationery />
        <header class="masthead">
          <a class="home alone" href={frame.home} dir="auto">
            {frame.boardTitle}
          </a>
          <nav aria-label="Pages">
            {frame.ways.map(({ name, href }) => (
              <a key={href} class="alone" href={href}>
                {name}
              </a>
            ))}
          </nav>
        </header>
        <p class="stale" id="stale" role="status" />
        <p class="unseen" id="said" role="status" />
        <main id="main">{children}</main>
        <footer class="colophon">
          <p>
            Rollcall {frame.version}. Times are those of {frame.zone}.{' '}
            <a href={frame.programs}>For programs</a>
          </p>
          {frame.owner && <OwnerLine owner={frame.owner} />}
        </footer>
      </body>
    </html>
  );
}
