/** How long answers took: the whole exchange and its phases, at three quantiles. */
import type { LatencyRowProps } from '../props-service.ts';

export function Latencies({ rows }: { readonly rows: readonly LatencyRowProps[] }) {
  return (
    <table class="latencies">
      <thead>
        <tr>
          <th scope="col">Of 100 answers took at most</th>
          <th scope="col">50</th>
          <th scope="col">95</th>
          <th scope="col">99</th>
        </tr>
      </thead>
      <tbody>
        {rows.map(({ word, meaning, typical, slow, slowest }) => (
          <tr key={word}>
            <th scope="row">
              {word} <span class="meaning">{meaning}</span>
            </th>
            <td>{typical}</td>
            <td>{slow}</td>
            <td>{slowest}</td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}
